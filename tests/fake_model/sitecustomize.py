"""On PYTHONPATH, this puts a fast, faulty stand-in in place of the model, in workers as well.

The environment variable FAKE_MODEL says what goes wrong: ``slow=SECONDS`` for each day,
``fail=SEED``, ``exit=SEED`` (the process ends abruptly), ``die=SEED``. Every simulated run adds
a line to the file FAKE_MODEL_LOG.
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

kernels = types.ModuleType("colony_sim.population.kernels")
kernels.warm_up = lambda: None
sys.modules[kernels.__name__] = kernels
