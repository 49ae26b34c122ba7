"""A keeper's small log, asked of a rack of four bins."""

from __future__ import annotations

import datetime

from colony_sim.assimilation.asked import ask
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.worlds import SHIPPED, read_worlds

LOG = """\
date,bin,action,stage,count,grams,about,until,note
2031-03-01,A,beetles in,beetles,60,,,,
2031-03-11,A,beetles out,beetles,52,,,,
2031-03-11,B,beetles in,beetles,,,,,
2031-03-21,B,dead beetles,beetles,6,,,,
2031-03-21,B,beetles out,beetles,45,,,,
2031-03-21,C,beetles in,beetles,,,,,
2031-03-28,A,count,larvae,400,,yes,,
"""
MORE = "2031-03-30,B,count,larvae,300,,yes,,\n"
ON = datetime.date(2031, 3, 28)
MEMBERS = 40


def asked_of(folder, text=LOG, on=ON, **values):
    path = folder / "shed.csv"
    path.write_text(text, encoding="utf-8")
    parameters = Parameters.default().with_values({"rack.bins": 4} | values, where="test")
    return ask(path, parameters, constant(27.0), read_worlds(SHIPPED), on=on)


FILE = """\
[experiment]
name = "shed"
days = 700
replicates = 4

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = 60

[handling]
rack.bins = 4

[[policy]]
name = "as logged"
"""
