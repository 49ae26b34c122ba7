"""One stored run: any change of any number of the model shows here.

Regenerate with ``python tests/test_golden.py``. The other tests say whether the model is
right; this one says that it has changed. So a commit that changes the stored table must give
its reason: a fault mended, a parameter revised, a rule added. Without a reason the change is
a fault.

Whole numbers must be equal, the others to 1e-9.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from colony_sim.biology.climate import climate_from_table
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import RunRecord, Scenario, simulate

FOLDER = Path(__file__).parent / "golden"
REGENERATE = "python tests/test_golden.py"
# Small and busy: every process and rule happens within 150 days.
VALUES = {
    "larva.duration_days": 45.0,
    "rack.bins": 6,
    "rotation.interval_days": 10,
    "rotation.collect_days": 25,
    "rotation.missed_share": 0.1,
    "rotation.most_breeders_per_bin": 50,
    "rotation.injured_share": 0.02,
    "predation.larva_egg": 0.02,
    "predation.larva_pupa": 0.002,
    "predation.larva_from_mg": 1.0,
    "predation.adult_pupa": 0.2,
    "pupae.inspection_days": 9,
    "pupae.find_share": 0.5,
    "pupae.killed_share": 0.1,
    "harvest.fraction": 0.7,
    "moisture.visible_skins_per_dm2": 10.0,
    "bran.start_g": 200.0,
    "rack.clear_after_days": 50,
    "rack.bin_loss_per_year": 2.0,
}
WAVE = {"kind": "yearly_wave", "mean_c": 25.0, "amplitude_k": 4.0, "coldest_day": 20.0}


def golden_run() -> RunRecord:
    parameters = Parameters.default().with_values(VALUES, "golden")
    climate = climate_from_table(WAVE, "golden")
    return simulate(Scenario(parameters, climate, days=150, seed=20_260, breeders=50, larvae=250))


def tables() -> dict[str, pd.DataFrame]:
    record = golden_run()
    return {"daily.csv": record.daily, "bin_log.csv": record.bin_log}


def compare(name: str) -> None:
    fresh = tables()[name]
    stored = pd.read_csv(FOLDER / name, keep_default_na=False, na_values={c: [""] for c in fresh
                         if fresh[c].dtype.kind in "iuf"})  # fmt: skip
    assert list(fresh.columns) == list(stored.columns)
    assert len(fresh) == len(stored)
    for column in fresh:
        ours, theirs = fresh[column], stored[column]
        hint = f"{name}, {column} has changed; if that has a reason: {REGENERATE}"
        if ours.dtype.kind == "f":
            missing = ours.isna().to_numpy()
            assert (missing == theirs.isna().to_numpy()).all(), hint
            gap = (ours[~missing] - theirs[~missing]).abs()
            assert (gap <= 1e-9 * theirs[~missing].abs().clip(lower=1.0)).all(), hint
        elif ours.dtype.kind in "iu":
            assert ours.fillna(-(10**6)).astype("int64").tolist() == (
                theirs.fillna(-(10**6)).astype("int64").tolist()
            ), hint
        else:
            assert ours.tolist() == theirs.tolist(), hint


def test_daily_series_is_the_stored_one():
    compare("daily.csv")


def test_bin_log_is_the_stored_one():
    compare("bin_log.csv")


def test_the_stored_run_covers_the_model():
    """A run in which little happens would guard little."""
    daily = pd.read_csv(FOLDER / "daily.csv")
    assert [name for name in daily if daily[name].sum() == 0] == []


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for file_name, table in tables().items():
        table.to_csv(FOLDER / file_name, index=False)
        print(f"wrote {FOLDER / file_name}: {len(table)} rows")
