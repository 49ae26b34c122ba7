"""On PYTHONPATH, this puts fast stand-ins in place of model and figure, in workers as well.

The environment variable FAKE_MODEL says what goes wrong in the model: ``slow=SECONDS`` for each
day, ``fail=SEED``, ``exit=SEED`` (the process ends abruptly), ``die=SEED``. With ``eggs=eaten``
eggs eaten by beetles widen the difference between policies; no other biology is looked at. Every
simulated run adds a line to the file FAKE_MODEL_LOG when it begins and, when it ends, one to a file
of that name with ``.ended``.
"""

import importlib.util
import sys
import types
from pathlib import Path

spec = importlib.util.spec_from_file_location(
    "colony_sim.colony.simulate", Path(__file__).with_name("stand_in.py")
)
module = importlib.util.module_from_spec(spec)
sys.modules[spec.name] = module
spec.loader.exec_module(module)

# Drawing takes longer than all the fake runs together.
figures = types.ModuleType("colony_sim.studies.comparison.draw")
figures.draw = lambda folder: (folder / "comparison.png").write_bytes(b"a figure")
sys.modules[figures.__name__] = figures
