"""The page of a results folder: valid, closed, and its numbers are those of the tables."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
import shutil
from decimal import Decimal
from importlib.resources import files
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import scipy.stats
from commandline import tree, without_sums
from plain_words import faults, jargon
from report_case import (
    DAYS,
    PAIR,
    QUESTION,
    ROWS,
    case,
    command,
    few_numbers,
    lived_again,
    with_slides,
)
from tinyhtml5.parser import HTMLParser

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.measuring.catalogue import catalogue
from colony_sim.report import rack_data, tables, words
from colony_sim.report.contents import gather_contents
from colony_sim.report.page import SCRIPTS, write_report
from colony_sim.results import manifest
from colony_sim.results.findings import Finding
from colony_sim.studies.comparison.relive import Traces
from colony_sim.studies.registry import study
from colony_sim.talk.deck import Deck
from colony_sim.words.estimate import dashed, probability

TYPES = {"u1": "<u1", "u2": "<u2", "u4": "<u4"}


def parsed(path):
    """The page as a tree, and what the parser of the HTML standard found wrong with it."""
    parser = HTMLParser(namespace_html_elements=False)
    root = parser.parse(path.read_text("utf-8"))
    return root, parser.errors


@pytest.fixture(scope="module")
def root():
    return parsed(case().page)[0]


@pytest.fixture(scope="module")
def slides():
    return case().deck.slides


def text_of(element) -> str:
    return " ".join("".join(element.itertext()).split())


def section(root, name):
    return next(e for e in root.iter("section") if e.get("id") == name)


def rows(table) -> dict[str, list[str]]:
    """Cells of a table by row label, units left out."""
    found = {}
    for row in table.iter("tr"):
        label = next((e for e in row if e.tag == "th" and e.get("scope") == "row"), None)
        if label is not None:
            for unit in list(label.iter("span")):
                unit.text = ""
            found[text_of(label)] = [text_of(e) for e in row if e.tag == "td"]
    return found


def captioned(root, start):
    return next(t for t in root.iter("table") if text_of(t.find("caption")).startswith(start))


def numbers_in(text: str) -> list[float]:
    return [float(t) for t in re.findall(r"-?\d+(?:\.\d+)?(?:e-\d+)?", plain(text))]


def plain(text: str) -> str:
    """Minus signs and powers of ten as a computer writes them."""
    powers = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")
    text = re.sub(r"\s?×\s?10⁻([⁰¹²³⁴⁵⁶⁷⁸⁹]+)", lambda m: "e-" + m[1].translate(powers), text)
    return text.replace("−", "-")


# ---- the page as a document -----------------------------------------------------------------


def test_the_command_says_that_the_page_is_ready():
    out = case().told
    assert out.startswith("The page is ready: ") and faults(out) == []


@pytest.mark.parametrize("which", ["page", "study_page"])
def test_page_is_valid_and_its_references_lead_somewhere(which):
    root, errors = parsed(getattr(case(), which))
    assert errors == []
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    wanted = [
        name
        for e in root.iter()
        for key in ("for", "aria-labelledby", "aria-describedby")
        for name in (e.get(key) or "").split()
    ]
    wanted += [e.get("href")[1:] for name in ("a", "use") for e in root.iter(name)]
    assert wanted and set(wanted) <= set(ids)
    assert len(list(root.iter("h1"))) == 1 and root.get("lang") == "en"


@pytest.mark.parametrize("which", ["page", "study_page"])
def test_page_asks_for_nothing(which):
    path = getattr(case(), which)
    root = parsed(path)[0]
    for element in root.iter():
        for key in ("src", "href", "srcset", "data", "action", "poster", "background"):
            value = element.get(key)
            assert value is None or value.startswith(("data:image/", "#")), (element.tag, value)
        assert element.tag not in ("iframe", "object", "embed", "form", "base")
        assert element.tag != "link" or element.get("rel") == "icon"
        assert not [key for key in element.attrib if key.startswith("on") or key == "style"]
    for part in ("page.css", *SCRIPTS):
        text = files("colony_sim.report").joinpath(part).read_text("utf-8")
        assert not re.search(r"url\(|@import|https?:|fetch\(|XMLHttp|WebSocket|import\s*\(", text)


def test_policy_of_the_page_names_its_own_style_and_script_only(root):
    policy = next(e for e in root.iter("meta") if e.get("http-equiv"))
    assert policy.get("http-equiv") == "Content-Security-Policy"
    rules = dict(rule.strip().split(" ", 1) for rule in policy.get("content").split(";"))
    assert rules.pop("default-src") == "'none'"
    assert rules.pop("img-src") == rules.pop("font-src") == "data:"
    script = next(e for e in root.iter("script") if e.get("type") is None)
    for name, element in (("style-src", root.find("head/style")), ("script-src", script)):
        digest = base64.b64encode(hashlib.sha256(element.text.encode()).digest()).decode()
        assert rules.pop(name) == f"'sha256-{digest}'"
    assert set(rules.values()) == {"'none'"}


def test_every_figure_has_words_and_numbers(root, slides):
    found = [e for e in root.iter("article") if e.get("class") == "figure"]
    assert [e.get("id") for e in found] == [f"figure-{slide.name}" for slide in slides]
    assert len(slides) > 3
    for element, slide in zip(found, slides, strict=True):
        image = next(element.iter("img"))
        assert image.get("alt") == slide.alt and len(slide.alt) > 40
        assert text_of(element.find("h3")) == " ".join(slide.title.split())
        table = next(element.iter("table"))
        head = [text_of(e) for e in next(table.iter("tr"))]
        assert head == [str(name) for name in slide.data.columns]
        shown = [[text_of(e) for e in row] for row in table.find("tbody")]
        assert len(shown) == min(len(slide.data), ROWS)
        assert (f"The first {ROWS} of {len(slide.data)} rows" in text_of(element)) == (
            len(slide.data) > ROWS
        )
        for cells, row in zip(shown, slide.data.itertuples(index=False), strict=False):
            for cell, value in zip(cells, row, strict=True):
                if isinstance(value, float) and math.isfinite(value):
                    assert float(plain(cell)) == pytest.approx(value, rel=1e-5, abs=0)
                elif not isinstance(value, float) and value is not None:
                    assert cell in (
                        " ".join(dashed(str(value)).split()),
                        {"True": "yes", "False": "no"}.get(str(value), tables.NOTHING),
                    )


def test_question_is_shown_as_written_and_the_scenario_as_invented(root):
    assert text_of(next(root.iter("h1"))) == QUESTION
    assert "invented scenario" in text_of(root.find("body/header"))
    assert QUESTION.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") in (
        case().page.read_text("utf-8")
    )


@pytest.mark.parametrize("which", ["page", "study_page"])
def test_what_a_keeper_reads_first_has_no_word_of_the_trade(which):
    root = parsed(getattr(case(), which))[0]
    if which == "study_page":  # The sentence of a study is tested where it is said.
        next(e for e in root.iter("p") if e.get("class") == "answer").text = ""
    parts = [e.get("id") for e in root.iter("section")]
    assert parts[-1] == "worked" and parts[-3:-1] == ["limits", "cautions"]
    if which == "page":
        assert parts[:4] == ["rack", "sure", "costs", "change"]
    first = [root.find("body/header"), root.find("body/nav")]
    first += [section(root, name) for name in parts[:-1]]
    texts = [text_of(e) for e in first]
    for e in (e for one in first for e in one.iter()):
        texts += [e.get(key) for key in ("aria-label", "alt", "data-label") if e.get(key)]
    assert [word for text in texts for word in jargon(text)] == []


# ---- numbers --------------------------------------------------------------------------------


def outward(text: str, low: float, high: float) -> None:
    """Three digits: the limits hold the interval, and no limit is a digit further out."""
    ends = [Decimal(t) for t in re.findall(r"-?\d+(?:\.\d+)?(?:e-\d+)?", plain(text))]
    for end, value, side in zip(ends, (low, high), (1, -1), strict=True):
        gap = (Decimal(repr(float(value))) - end) * side
        step = Decimal(10) ** min(end.as_tuple().exponent, 0) if end else Decimal("1e-3")
        assert 0 <= gap < max(step, abs(Decimal(repr(float(value)))) / 100), (text, low, high)


def check_interval(cell: str, mean: float, low: float, high: float, base=(1.0, 1.0)) -> None:
    """`base`: the interval of the mean that a ratio is relative to."""
    if not math.isfinite(mean):
        assert cell == tables.NOTHING
        return
    first, _, rest = cell.partition(" (")
    assert float(plain(first)) == pytest.approx(mean, rel=5.01e-3)
    if not (math.isfinite(low) and math.isfinite(high)):
        # Only a ratio to a mean that may be zero has no limits.
        assert base[0] <= 0 <= base[1] and rest == ""
        return
    outward(rest.rstrip(")"), low, high)


def test_tables_hold_the_means_and_intervals_of_the_folder(root):
    summary = pd.read_parquet(case().folder / "policies.parquet").set_index(["measure", "policy"])
    labels = {measure.label: key for key, measure in catalogue().items()}
    everything = rows(captioned(root, "All measures"))
    assert set(everything) == set(labels)
    main = rows(captioned(root, "Handling, runs and main measures"))
    assert main["Steady"][:2] == [
        f"{n} of 3" for n in summary.loc["yield_g_per_day"]["n_settled"][list(PAIR)]
    ]
    assert main["Died out"][:2] == ["0 of 3", "0 of 3"]
    assert [v for k, v in main.items() if "rotation.interval_days" in k] == [["21", "14", ""]]
    for label, cells in everything.items():
        for cell, policy in zip(cells, PAIR, strict=True):
            row = summary.loc[(labels[label], policy)]
            check_interval(cell, row["mean"], row["low"], row["high"])
        if labels[label] in tables.MAIN:
            assert main[label][:2] == cells


def test_differences_are_those_of_the_folder_and_bold_only_where_supported(root):
    stored = pd.read_parquet(case().folder / "differences.parquet").set_index("measure")
    runs = pd.read_parquet(case().folder / "runs.parquet")
    labels = {measure.label: key for key, measure in catalogue().items()}
    table = captioned(root, "Paired difference: every 14 days minus every 21 days")
    bold = {
        text_of(row[0]).split(" ")[0] for row in table.iter("tr") if row[1].get("class") == "strong"
    }
    main = rows(captioned(root, "Handling, runs and main measures"))
    strong = 0
    for label, (difference, percent, p, pairs) in rows(table).items():
        row = stored.loc[labels[label]]
        check_interval(difference, row["difference"], row["low"], row["high"])
        wide = runs.pivot(index="seed", columns="policy", values=labels[label]).dropna()[PAIR[0]]
        base = scipy.stats.t.interval(0.95, len(wide) - 1, wide.mean(), wide.sem())
        limits = row["relative_percent"], row["relative_low"], row["relative_high"]
        check_interval(percent, *limits, base=base)
        assert pairs == f"{row['n_pairs']} of 3"
        clear = (row["low"] > 0 or row["high"] < 0) and row["p_holm"] < 0.05
        strong += bool(clear)
        if p not in ("< 0.001", tables.NOTHING):
            assert float(p) == pytest.approx(row["p_holm"], rel=0.06)
        if labels[label] in tables.MAIN:
            assert main[label][2] == difference
    assert strong and bold
    marked = [row for row in table.iter("tr") if row[1].get("class") == "strong"]
    assert len(marked) == strong


def test_numbers_of_answer_and_titles_stand_in_the_tables(root, slides):
    answer = text_of(next(e for e in root.iter("p") if e.get("class") == "answer"))
    cell = rows(captioned(root, "Handling, runs and main measures"))["Yield"][2]
    found = re.search(r"([+−][\d.]+) g per day \(95 % interval ([−\d.]+) to ([−\d.]+)", answer)
    assert f"{found[1].lstrip('+')} ({found[2]} to {found[3]})" == cell
    stored = pd.read_parquet(case().folder / "differences.parquet").set_index("measure")
    row = stored.loc["yield_g_per_day"]
    assert f"From {row['n_pairs']} pairs" in text_of(section(root, "worked"))
    # Slide and page put the same way first.
    title = next(slide.title for slide in slides if slide.name == "answer")
    assert answer.startswith(title.split("”")[0]) and "more" in title
    runs = pd.read_parquet(case().folder / "runs.parquet")
    wide = runs.pivot(index="seed", columns="policy", values="yield_g_per_day")
    pairs = (wide[PAIR[1]] - wide[PAIR[0]]).dropna()
    said = re.search(r"Single pairs of runs differed by (\S+) to (\S+) g", text_of(root))
    assert float(plain(said[1])) == pytest.approx(pairs.min(), rel=5e-3)
    assert float(plain(said[2])) == pytest.approx(pairs.max(), rel=5e-3)


def rewrite(folder, **changes):
    """Other entries in the manifest of a folder."""
    path = folder / "manifest.json"
    facts = json.loads(path.read_text(encoding="utf-8"))
    facts.pop("seal")
    path.write_text(json.dumps(facts | changes), encoding="utf-8")


def test_paragraphs_have_the_part_they_were_given_however_they_begin(tmp_path):
    folder = tmp_path / "small"
    shutil.copytree(case().folder, folder)
    said = {"leaning": "In this model all is well.", "detail": "What this leans on most: none.",
            "answer": "Which is better is open by -3."}  # fmt: skip
    rewrite(folder, findings=[{"role": role, "text": text} for role, text in said.items()])
    facts = manifest.read(folder)
    with with_slides(case().deck):
        contents = gather_contents(folder, facts)
    assert contents.answer == "Which is better is open by −3."
    assert contents.details == (said["detail"],) and contents.leaning == (said["leaning"],)


def test_findings_of_a_comparison_are_those_of_its_text():
    facts = manifest.read(case().folder)
    found = [Finding(**entry) for entry in facts["findings"]]
    assert [finding.role for finding in found] == ["answer", "detail", "leaning"]
    text = (case().folder / "verdict.txt").read_text(encoding="utf-8")
    assert text == "\n\n".join([QUESTION, *(finding.text for finding in found)]) + "\n"


def test_answer_of_a_study_is_the_headline_of_its_verdict(tmp_path):
    folder = tmp_path / "map"
    shutil.copytree(case().study, folder)
    rewrite(
        folder,
        findings=[
            {"role": "answer", "text": "Nothing was found below -3."},
            {"role": "detail", "text": "More -4 words."},
        ],
    )
    with with_slides(Deck(case().deck.slides[:1], [folder], [])):
        root = parsed(write_report(folder).path)[0]
    answer = text_of(next(e for e in root.iter("p") if e.get("class") == "answer"))
    assert answer == "In this model and under its assumptions: Nothing was found below −3."
    assert "More −4 words." in text_of(next(root.iter("details")))
    assert text_of(next(root.iter("h1"))) == study("break-even map").question
    assert QUESTION in text_of(root.find("body/header"))


def test_assumptions_are_ranked_as_in_their_table_and_turning_ones_are_marked():
    ends = []
    for rank, key in enumerate(("predation.adult_egg", "egg.duration_days"), start=1):
        for end, difference in (("low", -0.2 * rank), ("high", 1.5)):
            ends.append({"rank": rank, "key": key, "end": end, "default": 0.008, "value": 0.03,
                         "unit": "d", "difference": difference, "low": difference - 0.123456,
                         "high": difference + 0.123456, "sign_turns": difference < 0,
                         "about": "First e.g. this. Then that.", "basis": "derived",
                         "confidence": "low"})  # fmt: skip
    table = tables.assumptions_table(pd.DataFrame(ends), most=1)
    assert table.caption.startswith("The 1 of 2 uncertain values")
    (row,) = table.groups[0].rows
    assert row.label == "First e.g. this (predation.adult_egg)"
    assert row.cells[0] == "0.008" and row.strong == (1,)
    start, _, rest = row.cells[1].partition(": ")
    assert start == "at 0.03"
    check_interval(rest, -0.2, -0.2 - 0.123456, -0.2 + 0.123456)


def test_small_numbers_are_written_as_powers_of_ten():
    assert tables.cell(8.57e-5, 7.521e-5, 9.611e-5) == (
        "8.57\u202f×\u202f10⁻⁵ (7.52\u202f×\u202f10⁻⁵ to 9.62\u202f×\u202f10⁻⁵)"
    )
    assert tables.cell(-0.5, math.nan, math.nan) == "−0.500"
    assert tables.value(math.nan) == tables.NOTHING and probability(0.0) == "< 0.001"


# ---- the rack -------------------------------------------------------------------------------


def unpacked(entry: dict[str, str]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(entry["text"]), TYPES[entry["type"]]).astype(np.int64)


@pytest.fixture(scope="module")
def lived():
    return lived_again()


def test_rack_of_the_page_is_the_run_of_the_folder(root, lived):
    element = next(e for e in root.iter("script") if e.get("id") == "rack-data")
    data = json.loads(element.text)
    first = max(lived.warm_up.values()) + 1
    assert (data["first"], data["days"], data["bins"]) == (first, DAYS, 14)
    assert [side["policy"] for side in data["sides"]] == list(PAIR)
    days = np.arange(first, first + DAYS)
    for side in data["sides"]:
        record = lived.records[side["policy"]]
        bins = record.bins_daily.sort_values(["day", "bin"])
        bins = bins[bins["day"].isin(days)]
        for stage in ("eggs", "larvae", "pupae", "adults"):
            assert np.array_equal(unpacked(side[stage]), bins[stage])
        assert np.allclose(unpacked(side["larvaeMg"]), 1000 * bins["larvae_g"], atol=0.51)
        phases = np.array(data["phases"])[unpacked(side["phase"])]
        assert np.array_equal(phases, bins["phase"])
        for name, date in (("inFor", "date_in"), ("outFor", "date_out")):
            since = (bins["day"] - bins[date].astype(float)).fillna(0)
            assert np.array_equal(unpacked(side[name]), since)
        daily = record.daily.set_index("day").loc[days]
        # Bins and tray together hold every insect of the colony.
        for stage, tray in (("pupae", "trayPupae"), ("adults", "trayAdults")):
            held = unpacked(side[stage]).reshape(DAYS, -1).sum(axis=1) + unpacked(side[tray])
            assert np.array_equal(held, daily[stage])
        assert np.array_equal(unpacked(side["breeders"]), daily["breeders"])
        harvested = np.cumsum(daily["harvest_g"])
        assert np.allclose(unpacked(side["harvestedMg"]), 1000 * harvested, atol=0.51)
        larvae = record.daily.set_index("day")["harvest_larvae"]
        assert np.array_equal(unpacked(side["harvestedLarvae"]), np.cumsum(larvae.loc[days]))
        bowl = [larvae.loc[day - rack_data.BOWL_DAYS + 1 : day].sum() for day in days]
        assert np.array_equal(unpacked(side["bowlLarvae"]), bowl)
        marks = {name: unpacked(entry) for name, entry in side["marks"].items()}
        log = record.bin_log
        log = log[log["day"].isin(days) & log["bin"].notna()]
        for word, actions in {
            "beetles in": ["beetles in"], "beetles out": ["beetles out"], "harvest": ["harvest"],
            "moisture": ["moisture started"],
            "cleared": ["cleared"],
        }.items():  # fmt: skip
            told = marks["word"] == data["words"].index(word)
            done = log[log["action"].isin(actions)]
            assert np.array_equal(marks["day"][told] + first, done["day"])
            assert np.array_equal(marks["bin"][told] + 1, done["bin"])
            if word == "harvest":
                assert np.array_equal(marks["amount"][told], done["larvae"])
        moved = marks["word"] == data["words"].index("pupae to the tray")
        done = log[(log["action"] == "pupae to tray") & (log["pupae"] > 0)]
        assert np.array_equal(marks["amount"][moved], done["pupae"]) and moved.any()
        taken = np.bincount(marks["day"], weights=marks["mg"], minlength=DAYS)
        assert np.allclose(taken, 1000 * daily["harvest_g"], atol=14)


def traces(values: dict, days: int, warm_up=(None, None)) -> Traces:
    """Two runs of a small colony as `retrace` would give them."""
    parameters = Parameters.default().with_values(values, where="test")
    records = {
        name: simulate(Scenario(parameters, constant(27.0), days, seed, 20), record_bins=True)
        for seed, name in enumerate(("a", "b"))
    }
    plan = SimpleNamespace(days=days)
    return Traces(1, plan, records, dict(zip(records, warm_up, strict=True)))


def test_rack_begins_at_the_start_unless_both_runs_settled():
    found = traces({}, 40, (10, None))
    rack = rack_data.build(found, ("a", "b"))
    assert (rack.first, rack.last, rack.settled) == (1, 40, False)
    rack = rack_data.build(traces({}, 40, (10, 25)), ("b", "a"), days=5)
    assert (rack.first, rack.last, rack.settled) == (26, 30, True)
    assert [side.policy for side in rack.sides] == ["b", "a"]
    assert len(rack.sides[0].bins) == 5 * rack.bin_count


def test_rack_of_a_colony_that_died_out_stays_empty_to_the_end():
    deadly = {"adult.hazard_per_day": 0.05, "egg.viable_share": 0.5, "rack.bins": 3,
              "larva.young_hazard_per_day": 0.5, "larva.hazard_per_day": 0.02}  # fmt: skip
    found = traces(deadly, 700)
    died = found.records["a"].died_out_day
    assert died is not None and died < 700
    rack = rack_data.build(found, ("a", "b"), 730)
    side = rack.sides[0]
    after = side.bins[side.bins["day"] > died]
    assert len(side.bins) == 700 * 3 and len(after) == (700 - died) * 3
    assert (after[[*rack_data.STAGES, "larvae_g", "bran_g", "in_for"]] == 0).all(axis=None)
    assert set(after["phase"]) == {"free"}
    harvested = side.totals["harvested_g"].to_numpy()
    assert (harvested[died:] == harvested[died - 1]).all()
    assert json.loads(rack_data.as_json(rack))["sides"][0]["diedOut"] == died


def test_names_of_policies_cannot_end_the_data():
    found = traces({}, 3)
    found.records["</script><b>"] = found.records.pop("b")
    found.warm_up["</script><b>"] = None
    text = rack_data.as_json(rack_data.build(found, ("a", "</script><b>")))
    assert "<" not in text and json.loads(text)["sides"][1]["policy"] == "</script><b>"


@pytest.mark.parametrize("values", [[-1.0], [math.nan], [2.0**32]])
def test_what_does_not_fit_is_refused(values):
    with pytest.raises(ValueError, match="cannot be packed"):
        rack_data.packed(pd.Series(values, name="eggs"))


# ---- the command ----------------------------------------------------------------------------


def test_same_results_give_the_same_page_and_nothing_else_is_written(tmp_path):
    before = tree(case().folder)
    with few_numbers():
        done = write_report(case().study, tmp_path / "map.html")
    assert done.path.read_bytes() == case().study_page.read_bytes()
    assert done.size == done.path.stat().st_size and done.without_rack == ""
    assert [path.name for path in tmp_path.iterdir()] == ["map.html"]
    assert tree(case().folder) == before


@pytest.mark.parametrize(
    ("which", "words", "told"),
    [
        ("folder", ("--policies", "every 14 days"), "two of every 21 days, every 14 days"),
        ("folder", ("--policies", "every 14 days,weekly"), "weekly"),
        ("folder", ("--policies", "every 14 days,every 14 days"), "two of"),
        ("study", ("--policies", "every 14 days,every 21 days"), "a comparison"),
        ("folder", ("--days", 0), "1 to 730"),
        ("folder", ("--days", 731), "1 to 730"),
        ("folder", ("--out", "nowhere/page.html"), "a folder that exists"),
        ("folder", ("--out", "."), "in a folder that exists"),
        (None, (), "a finished comparison"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    which, words, told, tmp_path, monkeypatch, capsys
):
    folder = getattr(case(), which) if which else tmp_path
    capsys.readouterr()
    before = tree(folder)
    monkeypatch.chdir(tmp_path)
    assert command("report", folder, *words) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1 and told in line
    assert tree(folder) == before and not list(tmp_path.iterdir())


def test_runs_that_come_out_otherwise_cost_the_rack_only(tmp_path, capsys):
    folder = tmp_path / "small"
    shutil.copytree(case().folder, folder)
    (folder / "report.html").unlink()
    daily = pd.read_parquet(folder / "daily.parquet")
    daily["eggs"] += 1
    without_sums(folder)
    daily.to_parquet(folder / "daily.parquet")
    capsys.readouterr()
    one = Deck(case().deck.slides[:1], [folder], [])
    with with_slides(one):
        assert command("report", folder, "--alone") == 0
    assert "No rack to watch" in capsys.readouterr().out
    root, errors = parsed(folder / "report.html")
    assert errors == [] and not list(root.iter("script"))
    assert "come out otherwise than stored" in text_of(section(root, "rack"))
    assert "Yield" in rows(captioned(root, "Handling, runs and main measures"))


@pytest.mark.parametrize(
    ("findings", "said"),
    [
        (None, "findings = 'missing (written by version"),
        (["text"], "findings = 'damaged'"),
        ([{"role": "boast", "text": "Best."}], "role = 'boast'"),
    ],
)
def test_damaged_findings_are_one_line(tmp_path, capsys, findings, said):
    folder = tmp_path / "small"
    shutil.copytree(case().folder, folder)
    (folder / "report.html").unlink()
    rewrite(folder, findings=findings)
    capsys.readouterr()
    assert command("report", folder, "--alone") == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1 and "manifest.json" in line and said in line
    assert not (folder / "report.html").exists()


# ---- what is always said --------------------------------------------------------------------


def test_limits_are_those_of_the_model_and_cautions_name_the_dangers(root):
    told = files("colony_sim").joinpath("docs/limits.md").read_text("utf-8")
    leads = re.findall(r"^- \*\*(.+?)\*\*", told, flags=re.MULTILINE)
    for lead, _ in words.LIMITS:
        assert any(found.rstrip(".") == lead.rstrip(".") for found in leads), lead
        assert lead in text_of(section(root, "limits"))
    text = text_of(section(root, "cautions")).lower()
    for word in ("dust", "allergy", "bleach", "ammonia", "oven", "fire", "feed law", "vet",
                 "doctor", "local"):  # fmt: skip
        assert word in text


def test_how_to_repeat_names_command_seed_and_versions(root):
    text = text_of(section(root, "worked"))
    manifest = json.loads((case().folder / "manifest.json").read_text("utf-8"))
    assert f"colony-sim repeat {case().folder}" in text
    assert "seed 3, 3 seeds, 600 days" in text
    assert manifest["software"]["colony_sim"] in text and manifest["software"]["numpy"] in text
    assert manifest["file_text"].split("\n")[0] in text
