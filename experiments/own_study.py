"""A study of one's own, cell by cell: a rule, a measure, a sweep and Sobol' indices as tables.

An invented scenario, kept so small that all of it takes about a minute and nothing can be
concluded from it. Run it with ``python experiments/own_study.py`` or paste its cells into a
notebook; the rule has to stay in a file of its own, so that worker processes can import it.
"""

# %% The experiment
import sys
import tempfile
from pathlib import Path

import colony_sim

HERE = Path(__file__).parent
OUT = Path(sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp())
FILE = OUT / "own.toml"
OUT.mkdir(parents=True, exist_ok=True)
FILE.write_text("""\
[experiment]
name = "own"
question = "Does topping up bran pay?"
invented = true
days = 140
replicates = 2
seed = 1

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = 40
larvae = 4000

[[policy]]
name = "every 21 days"
rotation.interval_days = 21

[[policy]]
name = "every 14 days"
rotation.interval_days = 14
""")
experiment = colony_sim.load(FILE)

# %% A rule that looks at the bins: the same experiment under it and without it
rule = f"{HERE / 'own_rules.py'}:TopUp"
options = {"figures": False, "worlds": 2}  # Few, to be quick: see the default.
plain = colony_sim.compare(experiment, out=OUT / "plain", **options)
topped = colony_sim.compare(experiment, out=OUT / "topped", keeper=rule, **options)
both = plain.runs.merge(topped.runs, on=["policy", "seed"], suffixes=("", "_topped"))
both["gain_g_per_day"] = both["yield_g_per_day_topped"] - both["yield_g_per_day"]
print(both[["policy", "seed", "gain_g_per_day"]])

# %% A measure of one's own, from the daily series: bran per gram harvested in the last 100 days
record = colony_sim.simulate_policy(experiment, "every 14 days", keeper=rule)
last = record.daily.tail(100)
print(f"{last['bran_given_g'].sum() / last['harvest_g'].sum():.2f} g of bran a gram harvested")

# %% A sweep, as a table
swept = colony_sim.sweep(
    experiment, ["harvest.fraction=0.6,0.9"], out=OUT / "swept", figures=False, replicates=2
)
print(swept.table("summary").query("measure == 'yield_g_per_day'")[["point", "policy", "mean"]])

# %% Sobol' indices, as a table
indices = colony_sim.sensitivity(
    experiment, method="sobol", over="ranges", size=2,
    keys=["predation.adult_egg", "larva.duration_days"],
    replicates=2, warm_up=21, used=42, out=OUT / "indices", figures=False,
)  # fmt: skip
print(indices.table("sensitivity")[["key", "S1", "ST"]])
