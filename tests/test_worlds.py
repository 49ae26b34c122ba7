"""Worlds that the literature allows: prior, surfaces, likelihood, sampler, and what is shipped."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from answers import of_folder
from commandline import CHECKOUT, cli
from scipy import stats

from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.evidence.numbers import Compare, Standing, numbers
from colony_sim.experiment.worlds import SHIPPED, read_worlds, shipped_file
from colony_sim.figures import style
from colony_sim.population import kernels
from colony_sim.worlds import agreement, literature, predictive, prior, rotations, words
from colony_sim.worlds import draw as figure
from colony_sim.worlds.bank import Bank, fill, outputs, studies
from colony_sim.worlds.calibration import Sizes as CalibrationSizes
from colony_sim.worlds.conditioning import Conditioning, condition
from colony_sim.worlds.digest import bare
from colony_sim.worlds.emulator import Emulator, columns, slopes, surface, value
from colony_sim.worlds.likelihood import Likelihood, _between, residual_covariance
from colony_sim.worlds.literature import Literature
from colony_sim.worlds.prior import STRAIN, STRUCTURES, Scores
from colony_sim.worlds.remake import Remade, Sizes, remake
from colony_sim.worlds.sampler import effective, sample
from colony_sim.worlds.shipped import TABLES, current, shipped

USED = outputs(Standing.USED)


# ---- Prior


def test_worlds_of_the_prior_lie_in_the_ranges_and_run():
    scores = prior.draw(200, np.random.default_rng(1))
    none = np.zeros(len(STRAIN))
    for row in range(len(scores)):
        values = scores.parameters(row, none)  # Refuses keys that clash.
        for key in prior.numbers():
            low, high = catalogue()[key].ends
            assert low <= values[key] <= high
        assert {values[key] for key in STRUCTURES} <= {w for of in prior.options() for w in of}


def test_every_uncertain_number_of_the_biology_is_drawn():
    uncertain = {
        key for key, e in catalogue().items() if e.group == "biology" and e.kind == "number"
    }
    assert set(prior.numbers()) == uncertain
    assert {"growth.law", "growth.crowding", "predation.refuge", "heat.own"} == set(STRUCTURES)


def test_a_strain_moves_its_keys_by_one_factor_and_nothing_else():
    scores = prior.draw(3, np.random.default_rng(2))
    plain = scores.parameters(1, np.zeros(3))
    moved = scores.parameters(1, np.array([0.0, 0.3, 0.0]))
    for key in prior.numbers():
        factor = math.exp(0.3) if key in STRAIN["size"] else 1.0
        assert moved[key] == pytest.approx(factor * plain[key])


def test_structures_are_choices_of_one_compiled_engine():
    """No structure makes the kernels compile anew."""
    from colony_sim.evidence.box import Boxes

    def live(law: str, crowding: str, refuge: str, heat: bool) -> None:
        keys = dict(zip(STRUCTURES, (law, crowding, refuge, heat), strict=True))
        box = Boxes(Parameters.default().with_values(keys, "test"), 1)
        box.larvae(20)
        box.beetles(4, 25.0, age=20.0)
        box.live(25.0, 3)

    compiled = {n: f for n, f in vars(kernels).items() if hasattr(f, "signatures")}
    assert compiled
    live("richards", "per_volume", "depth", True)
    before = {name: len(f.signatures) for name, f in compiled.items()}
    for law in prior.options()[0]:
        live(str(law), "per_area", "none", False)
    assert {name: len(f.signatures) for name, f in compiled.items()} == before


# ---- Surfaces


def _made(rows: int, seed: int = 3) -> tuple[Scores, np.ndarray, np.ndarray]:
    """Scores, strains, and a number that is a known polynomial of them with a little noise."""
    rng = np.random.default_rng(seed)
    scores = prior.draw(rows, rng)
    strain = 0.3 * rng.standard_normal((rows, len(STRAIN)))
    a, b = scores.shares[:, 5], scores.shares[:, 40]
    law = scores.structures[:, 0] == 3
    y = 1.0 + 2.0 * a - b + a * b + 0.5 * a**2 + np.where(law, 0.8, 0.0) + 1.5 * strain[:, 1]
    return scores, strain, y + 0.05 * rng.standard_normal(rows)


def test_a_surface_finds_a_polynomial_and_its_noise():
    scores, strain, y = _made(600)
    found = surface(columns(scores, strain), y)
    assert found.explained > 0.99
    assert np.std(found.residuals) == pytest.approx(0.05, rel=0.25)
    assert {5, 40} <= set(found.of)
    others, strains, truth = _made(300, seed=4)
    x = columns(others)
    # For the mean strain, where the known slope in the strain of size is left out.
    assert np.std(value(found, x) - (truth - 1.5 * strains[:, 1])) < 0.1
    assert slopes(found, x)[:, 1] == pytest.approx(1.5, abs=0.1)


def test_residuals_are_those_of_rows_left_out():
    """Against regressions that really leave the row out, on the same features and penalty."""
    scores, strain, y = _made(60)
    x = columns(scores, strain)
    found = surface(x, y)
    f = x[:, found.pairs[:, 0]] * x[:, found.pairs[:, 1]]
    f = f[:, 1:]
    unit = (f - f.mean(axis=0)) / np.maximum(f.std(axis=0), 1e-6)
    best = math.inf
    for penalty in (0.3, 3.0, 30.0, 300.0):
        left = []
        for row in range(len(y)):
            rest = np.arange(len(y)) != row
            a, b = unit[rest], y[rest]
            centre = a.mean(axis=0)
            gram = (a - centre).T @ (a - centre) + penalty * np.eye(a.shape[1])
            weights = np.linalg.solve(gram, (a - centre).T @ (b - b.mean()))
            left.append(y[row] - b.mean() - (unit[row] - centre) @ weights)
        if np.mean(np.square(left)) < best:
            best, exact = np.mean(np.square(left)), np.array(left)
    assert found.residuals == pytest.approx(exact, abs=1e-6)


def test_a_number_without_rows_is_refused():
    scores, strain, y = _made(40)
    y[:20] = np.nan
    with pytest.raises(ValueError, match="20 rows with a number"):
        surface(columns(scores, strain), y)


def _emulator(rows: int = 400) -> tuple[Emulator, Scores]:
    scores, strain, y = _made(rows)
    x = columns(scores, strain)
    names = ("koo2013.larva_30", "koo2013.threshold", "iobc.water")
    surfaces = tuple(surface(x, part) for part in (y, 2.0 * y - strain[:, 0], y**2))
    return Emulator(names, surfaces), scores


def test_surfaces_together_are_those_alone():
    emulator, scores = _emulator()
    mean, slope = emulator.with_slopes(scores)
    x = columns(scores)
    for k, of in enumerate(emulator.surfaces):
        assert mean[:, k] == pytest.approx(value(of, x))
        assert slope[:, :, k] == pytest.approx(slopes(of, x))


# ---- Likelihood and literature


def test_the_likelihood_is_the_normal_density_with_strains_integrated_out():
    """Against scipy's multivariate normal, world by world, with the covariance written out."""
    emulator, scores = _emulator()
    data = Literature(np.arange(3), np.array([1.0, 2.0, 3.0]), np.array([1.0, 2.0, math.inf]))
    unexplained = residual_covariance(emulator)
    found = Likelihood(emulator, unexplained, data)(scores)
    mean, slope = emulator.with_slopes(scores)
    between = literature.covariance(emulator.names)
    for row in range(0, len(scores), 37):
        spread = scores.spread()[row]
        total = 0.0
        for of in ([0, 1], [2]):
            part = np.ix_(of, of)
            jitter = 1.0 + 1e-3 * np.eye(len(of))
            cov = unexplained[part] * jitter + spread[3] ** 2 * between[part]
            for k in range(3):
                b = spread[k] * slope[row, k, of]
                cov = cov + np.outer(b, b)
            if of == [2]:
                total += stats.norm.logsf(3.0, mean[row, 2], math.sqrt(cov[0, 0]))
            else:
                total += stats.multivariate_normal.logpdf([1.0, 2.0], mean[row, of], cov)
        assert found[row] == pytest.approx(total, abs=0.02)


@pytest.mark.parametrize("low, high", [(-1.0, 2.0), (5.0, 5.1), (20.0, 25.0), (-30.0, -20.0)])
def test_probability_between_bounds_far_out(low, high):
    """Against scipy's logarithms of the tail."""
    a, b = (low, high) if high < 0.0 else (-high, -low)
    exact = stats.norm.logcdf(b) + np.log1p(-np.exp(stats.norm.logcdf(a) - stats.norm.logcdf(b)))
    assert _between(np.array([low]), np.array([high]))[0] == pytest.approx(exact, rel=1e-6)


def test_every_used_number_has_a_scale_bounds_and_an_error():
    data = literature.published(USED)
    assert (data.low <= data.high).all()
    assert np.isfinite(data.low[data.points]).all()
    errors = np.sqrt(np.diag(literature.covariance(USED)))
    for name, number, error in zip(USED, literature.numbers_of(USED), errors, strict=True):
        assert error > 0.0 or number.compare is Compare.WORDS, name
    assert np.linalg.eigvalsh(literature.covariance(USED)).min() > -1e-12


@pytest.mark.parametrize("number", numbers(), ids=lambda n: n.id)
def test_scales_go_back(number):
    if number.standing is Standing.HELD or not math.isfinite(number.high):
        return
    read = literature.scale(number)
    assert read.back(float(read(number.high))) == pytest.approx(number.high, abs=1e-9)


def test_a_made_up_literature_is_told_as_the_real_one_and_holds_its_truth():
    rng = np.random.default_rng(5)
    real = literature.published(USED)
    truth = np.where(real.points, real.low, 0.0)
    held = np.zeros(len(USED))
    for _ in range(200):
        made = literature.made_up(truth, USED, 1e-9, rng)
        assert (made.points == real.points[made.outputs]).all()
        held += (made.low <= truth + 1e-6) & (truth - 1e-6 <= made.high)
    assert (held == 200).all()
    truth[3] = np.nan
    assert 3 not in literature.made_up(truth, USED, 1.0, rng).outputs


# ---- Sampler


def test_the_sampler_gives_the_closed_form_of_a_linear_model():
    """Normal prior, linear surface, normal error: mean, variance, evidence and weight are known.

    Tolerances are four standard errors of 4,000 independent draws, doubled for what the sampler's
    draws have in common; a false alarm in fewer than one in a thousand seeds.
    """
    mine, shift, sd, y = 7, 1.5, 0.5, 2.0

    def likelihood(scores: Scores) -> np.ndarray:
        mean = scores.values[:, mine] + shift * (scores.structures[:, 1] == 1)
        return stats.norm.logpdf(y, mean, sd)

    found = sample(likelihood, 4000, np.random.default_rng(6))
    wide = math.sqrt(1.0 + sd**2)
    each = [stats.norm.pdf(y, at, wide) for at in (0.0, shift)]
    weight = each[1] / sum(each)
    assert (found.scores.structures[:, 1] == 1).mean() == pytest.approx(weight, abs=0.06)
    assert found.evidence == pytest.approx(math.log(sum(each) / 2.0), abs=0.1)
    within = found.scores.values[found.scores.structures[:, 1] == 1, mine]
    gain = 1.0 / (1.0 + sd**2)
    assert within.mean() == pytest.approx(gain * (y - shift), abs=0.08)
    assert within.std() == pytest.approx(math.sqrt(sd**2 * gain), rel=0.1)
    others = np.delete(found.scores.values, mine, axis=1)
    assert abs(others.mean(axis=0)).max() < 0.15
    assert abs(others.std(axis=0) - 1.0).max() < 0.12


def test_a_structure_left_out_is_never_drawn():
    def allowed(scores: Scores) -> np.ndarray:
        return scores.structures[:, 0] != 2

    rng = np.random.default_rng(7)
    found = sample(lambda s: s.values[:, 0], 300, rng, allowed=allowed)
    assert allowed(found.scores).all()
    assert set(np.unique(found.scores.structures[:, 0])) == {0, 1, 3, 4}


def test_effective_sample_size_of_weights():
    assert effective(np.ones(50)) == pytest.approx(50.0)
    assert effective(np.array([1.0, 0.0, 0.0])) == pytest.approx(1.0)


# ---- Agreement


def test_runs_that_differ_by_chance_alone_are_worth_their_number():
    """Independent draws: the effective size is their number, within the chance of ninety means."""
    rng = np.random.default_rng(8)
    runs = [prior.draw(500, rng) for _ in range(8)]
    assert agreement.effective_size(runs) == pytest.approx(4000, rel=0.25)


def test_narrowing_and_ties_of_made_up_worlds():
    rng = np.random.default_rng(9)
    scores, halves = prior.draw(2000, rng), []
    for part in (scores, *(prior.draw(2000, rng) for _ in range(4))):
        part.values[:, 3] *= 0.4
        part.values[:, 10] = 0.8 * part.values[:, 11] + 0.6 * part.values[:, 10]
        halves.append(part)
    table = agreement.narrowing(scores, halves[1:])
    assert table["key"].iloc[0] == prior.numbers()[3]
    assert table["narrowed"].iloc[0] == pytest.approx(0.6, abs=0.05)
    assert (table["low"] >= table["range_low"] - 1e-9)[
        ~table["key"].str.startswith("spread.")
    ].all()
    ties = agreement.ties(scores, halves[1:])
    assert list(ties[["first", "second"]].iloc[0]) == [prior.numbers()[10], prior.numbers()[11]]
    assert len(ties) == 1


# ---- Predictive


def test_where_a_published_number_falls():
    """Predictions about the number itself hold it, those far above do not."""
    names = outputs(Standing.USED, Standing.JUDGED)
    scores = prior.draw(300, np.random.default_rng(10))
    by_id = {n.id: n for n in numbers()}
    middle = np.array([
        by_id[name.partition("/")[0]].middle if math.isfinite(by_id[name.partition("/")[0]].middle)
        else 1.0 for name in names
    ])  # fmt: skip

    def bank(factor: float) -> Bank:
        found = np.tile(np.maximum(middle, 0.01) * factor, (300, 1))
        return Bank(names, scores, np.zeros((300, 1, 3)), found, np.zeros((300, 3)))

    rng = np.random.default_rng(11)
    near, far = (predictive.predictive(bank(f), rng).set_index("id") for f in (1.0, 8.0))
    assert len(near) == sum(n.standing is not Standing.HELD for n in numbers())
    for name in ("koo2013.larva_17", "heidari2023.total_25", "berggreen2018.at_best"):
        assert near.loc[name, "inside"] and not far.loc[name, "inside"]
        assert near.loc[name, "place"] == pytest.approx(0.5, abs=0.12)
        assert far.loc[name, "place"] < 0.02
        assert far.loc[name, "why"]


# ---- Digest


def test_the_digest_overlooks_words_and_sees_formulas():
    text = 'def f(x):\n    """Doc."""\n    return 2.0 * x  # why\n'
    other = 'def f(x):\n    """Another."""\n\n    return 2.0 * x\n'
    assert bare(text) == bare(other)
    assert bare(text) != bare(text.replace("2.0", "2.5"))


# ---- A reduced remake

CHEAP = ("iobc", "ageorges2022", "fasce2022", "nielsen2025")
SMALL = Sizes(
    rows=72,
    wave=12,
    worlds=64,
    runs=2,
    moves=30,
    halves=2,
    lived=4,
    lived_gains=0,
    calibration=CalibrationSizes(6, 0, 0, 64, 30, 1, seeds=2, lived=16),
    repeat=False,
    studies=CHEAP,
)


@pytest.fixture(scope="module")
def remade(tmp_path_factory) -> Remade:
    def lived(scores, strains, seeds, folder, **options):
        """Both rotations, not lived but made up."""
        drawn = np.random.default_rng(seeds.astype(np.uint32))
        return drawn.lognormal(1.0, 0.5, (len(scores), 2, len(rotations.KEPT)))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rotations, "fill", lived)
        return remake(3, tmp_path_factory.mktemp("remade"), SMALL, workers=2)


def test_a_reduced_remake_gives_worlds_that_can_be_lived(remade):
    worlds = remade.worlds
    assert worlds.name == SHIPPED
    assert worlds.draws.shape == (64, len(prior.numbers()) + len(STRUCTURES))
    worlds.check("test")
    heat = worlds.draws[:, worlds.keys.index("heat.own")]
    assert (heat == 1.0).all()  # The calorimeter's numbers rule out larvae without heat.
    assert set(remade.tables) == set(TABLES) - {"repeat"}
    assert len(words.lines(remade)) <= 25


def test_lived_rows_and_drawn_worlds_do_not_depend_on_the_number_of_workers():
    """Nor a row on those beside it."""
    wanted = SMALL.wanted(Standing.USED)
    scores = prior.draw(6, np.random.default_rng(4))
    one, two = (fill(scores, 5, wanted=wanted, workers=workers) for workers in (1, 2))
    assert np.array_equal(one.found, two.found, equal_nan=True)
    last = fill(scores.take([5]), 5, wanted=wanted, first=5)
    assert np.array_equal(last.found[0], one.found[5], equal_nan=True)

    emulator, _ = _emulator()
    data = Literature(np.arange(3), np.array([1.0, 2.0, 3.0]), np.array([1.0, 2.0, math.inf]))
    like = Likelihood(emulator.without_residuals(), residual_covariance(emulator), data)
    jobs = [Conditioning(like, 50, seed, last=6) for seed in (1, 2, 3)]
    drawn = [[s.scores.values for s in condition(jobs, workers=n)] for n in (1, 2)]
    assert np.array_equal(*drawn)
    assert not np.array_equal(drawn[0][0], drawn[0][1])


# ---- What is shipped


def test_the_shipped_worlds_are_current_whole_and_small():
    found = shipped()
    assert current(found), "colony-sim worlds --remake --ship makes them again"
    assert set(found.tables) == set(TABLES)
    size = sum(path.stat().st_size for path in shipped_file().parent.iterdir())
    assert size <= 1_000_000


def test_the_shipped_worlds_open_in_pandas_one_row_a_world_one_column_a_value():
    table = pd.read_csv(shipped_file(), comment="#")
    assert len(table) >= 1000
    assert list(table.columns) == ["world", *prior.numbers(), *STRUCTURES]
    assert set(table["growth.law"]) <= set(catalogue()["growth.law"].choices)


def test_the_central_world_is_one_of_them():
    worlds = read_worlds(SHIPPED)
    centre = worlds.centre()
    assert any(worlds.draw(k) == centre for k in range(1, len(worlds.draws) + 1))
    Parameters.default().with_values(centre, "centre")


def test_the_sentence_counts_what_the_table_holds():
    found = shipped()
    table = found.tables["numbers"]
    judged = table[table["standing"] == "judged"]
    assert f"{int(judged['inside'].sum())} of {len(judged)} numbers" in words.headline(found)
    assert len(judged) == sum(n.standing is Standing.JUDGED for n in numbers())
    assert (judged.loc[~judged["inside"], "why"] != "").all()
    assert len(words.lines(found)) <= 25


def test_studies_of_outputs_are_those_that_give_them():
    assert set(studies(USED)) == {n.replication for n in numbers() if n.standing is Standing.USED}


# ---- Command and figure


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """A folder with the finished command, and what it printed."""
    place = tmp_path_factory.mktemp("worlds")
    code, out, _ = cli("worlds", "--out", "found", cwd=place, faults=None)
    assert code == 0
    return place / "found", out.splitlines()


def test_the_command_answers_on_one_screen_and_writes_what_it_says(shown):
    folder, lines = shown
    assert " ".join(" ".join(lines[:2]).split()) == words.headline(shipped())
    assert (folder / "verdict.txt").read_text().startswith(words.headline(shipped()))
    names = {path.name for path in folder.iterdir()}
    assert {"worlds.png", "reliability.png", "published.csv", "manifest.json"} <= names
    assert {f"{name}.csv" for name in TABLES} <= names
    assert read_worlds(folder / "published.csv") == read_worlds(SHIPPED)
    assert "published numbers used" in (folder / "methods.txt").read_text(encoding="utf-8")
    assert of_folder(folder, "worlds")["answer"].startswith(words.headline(shipped()).rstrip("."))


def test_the_folder_is_a_study_that_reads_itself_back(shown):
    from colony_sim.studies.registry import study

    data, found = study("worlds").read(shown[0])
    assert data["kind"] == "worlds"
    assert words.headline(found) == words.headline(shipped())


@pytest.mark.parametrize("option", [("--ship",), ("--seed", "3"), ("--workers", "1")])
def test_options_of_a_remake_alone_are_refused(option, tmp_path):
    code, out, err = cli("worlds", *option, cwd=tmp_path, faults=None)
    assert (code, out, len(err)) == (2, "", 1)
    assert "only with --remake" in err[0]
    assert not any(tmp_path.iterdir())


def test_marks_stand_where_the_table_says():
    table = shipped().tables["numbers"]
    drawn = figure.marks(table)
    assert len(drawn) == len(table) and list(drawn["id"]) == list(table["id"])
    for row, mark in zip(table.to_dict("records"), drawn.to_dict("records"), strict=True):
        if math.isnan(mark["middle"]):
            continue
        assert mark["inside"] == row["inside"]
        if row["unit"] == "d" and row["published_low"] == row["published_high"]:
            at = np.log(row["published_low"] / row["low"]) / np.log(row["high"] / row["low"])
            assert mark["at"] == pytest.approx(at, abs=1e-6)
            # Inside the band is inside the range.
            assert (0.0 <= mark["at"] <= 1.0) == row["inside"]


def test_the_figure_has_every_number_and_can_be_read():
    found = shipped()
    with style.theme():
        drawn = figure.draw(found.tables["numbers"], words.headline(found))
    texts = [text.get_text() for axes in drawn.axes for text in axes.texts]
    labels = [text for text in texts if " · " in text]
    assert len(labels) == len(found.tables["numbers"])
    assert min(t.get_fontsize() for axes in drawn.axes for t in axes.texts) >= 7.5


# ---- Worlds in a study


def test_a_comparison_takes_one_world_for_each_replicate(tmp_path):
    """The first policy's run of replicate 2 is that of world 2, lived alone."""
    from colony_sim import load, published_worlds, simulate_policy

    worlds = published_worlds()
    assert worlds.frame().shape == (len(worlds.draws), len(worlds.keys))
    experiment = load(CHECKOUT / "experiments" / "rotation.toml")
    lived = [
        simulate_policy(experiment, seed=5, days=40, profile=profile, draw=2).daily
        for profile in ("published", worlds)
    ]
    pd.testing.assert_frame_equal(*lived)
    other = simulate_policy(experiment, seed=5, days=40, profile=worlds, draw=3).daily
    assert not lived[0].equals(other)
