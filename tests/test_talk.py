"""A talk: pictures, one PDF, data and notes, written whole or not at all."""

from __future__ import annotations

import dataclasses
import json
import re
from functools import cache
from pathlib import Path

import matplotlib.image
import pandas as pd
import pytest
from commandline import cli, tree
from small_comparison import KINDS, made, small

from colony_sim import atomic
from colony_sim.errors import InputError
from colony_sim.figures.slide import Slide, says_only
from colony_sim.results import manifest
from colony_sim.results.folder import claim
from colony_sim.studies.comparison import slides as comparison_slides
from colony_sim.talk import deck, notes, sheet
from colony_sim.talk import write as talk
from colony_sim.talk.deck import gather, studies_beside
from colony_sim.talk.write import write_talk
from colony_sim.worklist import cautions

COMMAND = "colony-sim figures small"


@cache
def whole_talk() -> tuple[talk.Talk, Path]:
    """The talk of a small comparison, written once, and its results folder."""
    folder = small("two", made("two").parent / "talk")
    return write_talk(folder, pptx=True, command=COMMAND), folder


@cache
def kept_slides() -> tuple[Slide, ...]:
    """Two of the slides, so that tests of writing need not live a run again."""
    found = {slide.name: slide for slide in comparison_slides.slides(made("one"))}
    return found["losses"], found["steady"]


@pytest.fixture
def few(monkeypatch):
    """Comparisons have `kept_slides` only."""
    kept = list(kept_slides())
    monkeypatch.setattr(comparison_slides, "slides", lambda folder, seed=None: kept)


def sections(text: str) -> list[str]:
    """The notes slide by slide."""
    return re.split(r"^## (?=\d+\. )", text, flags=re.M)[1:]


def unescaped(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text)


def test_every_slide_has_a_picture_twice_its_numbers_and_a_page():
    done, folder = whole_talk()
    assert done.folder == folder / "slides"
    stems = [stem for stem, _ in done.slides]
    assert [stem[:3] for stem in stems] == [f"{n:02d}-" for n in range(1, len(stems) + 1)]
    assert len(set(stems)) == len(stems) == 11
    names = {f"{stem}.{kind}" for stem in stems for kind in ("png", "svg", "csv")}
    whole = {"talk.md", "talk.pdf", "talk.html", "talk.pptx", *sheet.SIZES}
    assert {p.name for p in done.folder.iterdir()} == names | whole
    pdf = (done.folder / "talk.pdf").read_bytes()
    assert len(re.findall(rb"/Type /Page\b", pdf)) == len(stems)
    # 13.33 x 7.5 in, in points; without a date.
    assert pdf.count(b"/MediaBox [ 0 0 960 540 ]") == len(stems) and b"CreationDate" not in pdf
    for stem, slide in done.slides:
        assert matplotlib.image.imread(done.folder / f"{stem}.png").shape[:2] == (1125, 2000)
        svg = (done.folder / f"{stem}.svg").read_text(encoding="utf-8")
        # Text is text, so that it can be searched and mended.
        assert all(word in svg for word in slide.title.split()[:3])
        table = pd.read_csv(done.folder / f"{stem}.csv")
        assert list(table.columns) == list(slide.data.columns) and len(table) == len(slide.data)


def test_the_notes_say_one_finding_a_slide_with_its_caveat_and_runs():
    done, folder = whole_talk()
    text = (done.folder / "talk.md").read_text(encoding="utf-8")
    parts = sections(text)
    assert len(parts) == len(done.slides)
    for number, (part, (stem, slide)) in enumerate(zip(parts, done.slides, strict=True), start=1):
        plain = unescaped(part)
        assert plain.startswith(f"{number}. {slide.title}\n")
        assert f"]({stem}.png)" in part and f"({stem}.csv) ({len(slide.data)} rows)" in part
        for lead, words in (("Say", slide.say), ("But", slide.caveat),
                            ("In the picture", slide.alt), ("Runs", slide.runs)):  # fmt: skip
            assert f"**{lead}:** {' '.join(words.split())}" in plain
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert len(links) == 2 * len(parts)
    assert all((done.folder / link).is_file() for link in links)
    assert "statements about a model under its assumptions, not about a real colony" in text
    assert "The scenario is invented" in text and "Which interval gives more?" in text
    assert all(unescaped(text).count(one.text) == 1 for one in cautions.ALL)
    assert cautions.DEFER in text
    end = text[text.index("## How this was made") :]
    assert f"`{COMMAND}`" in end and "`colony-sim compare small.toml`" in end
    assert "experiment small; seed 20; 700 days" in end and f"`{folder}`" in end


def test_the_numbers_of_the_notes_are_those_of_the_tables():
    done, folder = whole_talk()
    text = unescaped((done.folder / "talk.md").read_text(encoding="utf-8"))
    table = pd.read_parquet(folder / "all_differences.parquet")
    row = table[(table["measure"] == "yield_g_per_day") & (table["difference"] > 0)].iloc[0]
    found = re.search(r"\+([\d.]+) g per day \(95 % interval ([−\d.]+) to ([\d.]+)\)", text)
    value, low, high = (float(part.replace("−", "-")) for part in found.groups())
    assert value == pytest.approx(row["difference"], rel=5e-3)
    assert low <= row["low"] < low + 0.01 and high - 0.01 < row["high"] <= high
    assert (row["n_pairs"], row["n_dropped"]) == (KINDS["two"]["replicates"], 0)
    settled = (pd.read_parquet(folder / "runs.parquet")["status"] == "settled").sum()
    assert settled == 2 * KINDS["two"]["replicates"] and f"All {settled} runs settled" in text


def test_a_second_call_writes_the_same_bytes_in_the_place_of_the_first():
    done, folder = whole_talk()
    first = tree(folder)
    (done.folder / "01-of_an_earlier_talk.png").write_bytes(b"old")
    again = write_talk(folder, pptx=True, command=COMMAND)
    assert again.folder == done.folder and tree(folder) == first


def test_a_talk_that_fails_leaves_the_earlier_one(tmp_path, few, monkeypatch):
    folder = small("one", tmp_path)
    write_talk(folder)
    before = tree(folder)

    def broken():
        raise RuntimeError("no paint")

    bad = dataclasses.replace(kept_slides()[1], paint=broken)
    monkeypatch.setattr(comparison_slides, "slides", lambda *_, **__: [kept_slides()[0], bad])
    with pytest.raises(RuntimeError, match="no paint"):
        write_talk(folder)
    assert tree(folder) == before
    # A swap that fails half way puts the earlier one back.
    monkeypatch.setattr(comparison_slides, "slides", lambda *_, **__: [kept_slides()[0]])
    real, calls = atomic.os.replace, []

    def second_fails(source, target):
        calls.append(target)
        if len(calls) == 2:
            raise OSError("disk full")
        real(source, target)

    monkeypatch.setattr(atomic.os, "replace", second_fails)
    with pytest.raises(OSError, match="disk full"):
        write_talk(folder)
    assert tree(folder) == before


def test_files_of_others_are_never_replaced(tmp_path, few):
    folder = small("one", tmp_path)
    mine = folder / "slides"
    mine.mkdir()
    (mine / "my notes.txt").write_text("dear to me")
    with pytest.raises(InputError, match=r"holds my notes.txt; allowed|holds my notes.txt'"):
        write_talk(folder)
    assert tree(mine) == {"my notes.txt": b"dear to me"}
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(InputError, match="is a file"):
        write_talk(folder, file)


def test_a_folder_of_slides_half_written_is_swept_by_the_next_comparison(tmp_path):
    folder = small("one", tmp_path)
    left = folder / ".slides.123.tmp"
    left.mkdir()
    (left / "01-comparison.png").write_bytes(b"half")
    with claim(folder, "small", ()):
        pass
    assert not left.exists()


def test_another_folder_to_write_and_names_that_mean_something_in_markdown(tmp_path, few):
    folder = small("one", tmp_path)
    name = "a *b* [c](d) <e> `f` #1"
    slide = says_only("odd-name", f"{name} has nothing", lambda figure: None, "1 run")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(comparison_slides, "slides", lambda *_, **__: [slide, slide])
        done = write_talk(folder, tmp_path / "new" / "talk")
    assert done.folder == tmp_path / "new" / "talk" and not (folder / "slides").exists()
    assert [stem for stem, _ in done.slides] == ["01-odd-name", "02-odd-name-2"]
    text = (done.folder / "talk.md").read_text(encoding="utf-8")
    assert name in unescaped(text) and name not in text
    assert len(re.findall(r"(?<!\\)\]\(", text)) == 4  # Two links a slide, none from the name.


# ---- The deck


def study(folder: Path, kind: str = "sweep", **changes) -> Path:
    """A folder of a study beside the small comparison; only its manifest."""
    facts = json.loads((made("two") / "manifest.json").read_text(encoding="utf-8"))
    facts["kind"] = kind
    facts.pop("seal")
    facts["experiment"] |= {"name": "small-study"} | changes.pop("experiment", {})
    folder.mkdir(parents=True)
    (folder / "manifest.json").write_text(json.dumps(facts | changes), encoding="utf-8")
    return folder


def test_studies_of_the_same_experiment_beside_it_are_found(tmp_path):
    folder = small("two", tmp_path)
    facts = manifest.read(folder)
    turned = facts["policies"][::-1]
    study(tmp_path / "a-sweep", policies=turned)
    study(tmp_path / "b-search", "search")
    study(tmp_path / "c-map", "break-even map")
    study(tmp_path / "d-question", experiment={"question": "Another?"})
    study(tmp_path / "e-name", experiment={"name": "smaller-sweep"})
    study(tmp_path / "f-founders", experiment={"breeders": 1})
    study(tmp_path / "g-biology", biology=facts["biology"] | {"egg.duration_days": 8.0})
    study(tmp_path / "h-climate", climate={"kind": "constant", "values": [20.0]})
    study(tmp_path / "i-one-policy", policies=facts["policies"][:1])
    other = {"name": "two", "handling": facts["policies"][0]["handling"] | {"rack.bins": 5}}
    study(tmp_path / "i-handling", policies=[*facts["policies"], other])
    study(tmp_path / "j-comparison", "comparison")
    (tmp_path / "k-damaged").mkdir()
    (tmp_path / "k-damaged" / "manifest.json").write_text("{")
    found = [path.name for path in studies_beside(folder, facts)]
    assert found == ["a-sweep", "i-one-policy", "c-map", "b-search"]


def test_a_study_that_cannot_be_drawn_is_left_out_and_told(tmp_path, few):
    folder = small("one", tmp_path)
    facts = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    other = tmp_path / "study"
    other.mkdir()
    facts["kind"] = "search"
    facts.pop("seal")
    facts["experiment"]["name"] = "small-search"
    (other / "manifest.json").write_text(json.dumps(facts), encoding="utf-8")
    found = gather(folder)
    assert [slide.name for slide in found.slides] == ["losses", "steady"]
    assert [place for place, _ in found.left_out] == [other]
    text = notes.notes(folder, found, ["01-losses", "02-steady"], "")
    assert f"- Left out: `{other}`" in text
    assert gather(folder, beside=False).left_out == []


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"study": {"members": 300}, "experiment": {"seeds": [1]}}, "300 possible colonies"),
        ({"study": {"replicates": 2, "seeds": [1, 2, 3]}}, "2 seeds"),
        ({"experiment": {"seeds": [4], "replicates": 9}}, "1 seed"),
        ({"experiment": {}}, "number not stored"),
    ],
)
def test_the_number_of_runs_comes_from_the_manifest_where_a_slide_tells_none(facts, words):
    assert notes.runs_of(facts) == words


def test_names_of_slides_differ(tmp_path, few, monkeypatch):
    one = kept_slides()[0]
    monkeypatch.setattr(comparison_slides, "slides", lambda *_, **__: [one, one, one])
    found = deck.deck(made("one"), beside=False)
    assert [slide.name for slide in found] == ["losses", "losses-2", "losses-3"]
    assert found[1].title == one.title


@pytest.mark.parametrize("kind", ["single run", "nonsense"])
def test_a_kind_that_cannot_be_drawn_is_one_line(tmp_path, kind):
    folder = study(tmp_path / "other", kind)
    with pytest.raises(InputError, match="allowed: the folder of a comparison or sweep") as caught:
        deck.deck(folder)
    assert kind in caught.value.line and "\n" not in caught.value.line


# ---- The command


def test_the_command_tells_what_it_wrote(tmp_path):
    folder = small("one", tmp_path)
    code, out, err = cli("figures", folder, "--alone", cwd=tmp_path, faults=None)
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith(f"10 slides are ready in {folder / 'slides'}: PNG, SVG and CSV of")
    assert "talk.html, handout-a4.pdf" in lines[0] and "pptx" not in lines[0]
    text = (folder / "slides" / "talk.md").read_text(encoding="utf-8")
    titles = [unescaped(part).split("\n")[0].split(". ", 1)[1] for part in sections(text)]
    assert lines[1:] == [f"{stem}: {title}" for stem, title in
                         zip(sorted(p.stem for p in (folder / "slides").glob("*.png")),
                             titles, strict=True)]  # fmt: skip
    assert err[0] == f"Gathering the slides of {folder}"
    assert f"`colony-sim figures {folder} --alone`" in text


def test_bad_input_is_one_line_and_nothing_is_written(tmp_path):
    folder = small("one", tmp_path)
    before = tree(tmp_path)
    code, out, err = cli("figures", tmp_path / "none", cwd=tmp_path, faults=None)
    assert code == 2 and out == "" and len(err) == 1
    assert err[0].startswith("colony-sim: ") and "No such file" in err[0]
    with pytest.raises(InputError, match="argument: seed = 5; allowed: the seed of a run in"):
        write_talk(folder, seed=5)
    assert tree(tmp_path) == before
    search = study(tmp_path / "search", "search")
    with pytest.raises(InputError, match="argument: seed = 5; allowed: none: only comparisons"):
        write_talk(search, seed=5)
