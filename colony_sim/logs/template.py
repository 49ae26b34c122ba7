"""The empty log with its explanations, as ``colony-sim fit --template`` writes it."""

from __future__ import annotations

from colony_sim.logs.words import (
    ABOUT_ERROR,
    COLUMNS,
    COUNT_ERROR,
    WEIGHT_ERROR,
    LogAction,
)

_EXAMPLES = """\
2031-03-01,1,beetles in,beetles,200,,,,first beetles (invented rows: delete them)
2031-03-15,1,beetles out,beetles,192,,,,
2031-03-15,1,dead beetles,,5,,,,
2031-03-15,2,beetles in,,192,,,,
2031-04-20,1,count,small larvae,900,,yes,,by the handful
2031-05-10,1,sample,larvae,50,2.1,,,50 weighed together
2031-05-24,1,weight,mixed,,160,30%,,with some pupae
2031-06-01,,not written,,,,,2031-06-14,away
2031-06-20,1,harvest,,,140,,,
"""


def template() -> str:
    """The text of the template: explanations behind #, the header, invented rows."""
    width = max(len(action) for action in LogAction)
    lines = [
        "# Bin log for colony-sim fit. Lines that begin with # are for you; they are not read.",
        "# One row for each thing done, counted or weighed. What you did not count stays empty:",
        "# a move without a count still tells when the beetles were moved.",
        "#",
        "# date    day as YYYY-MM-DD",
        "# bin     name or number of the bin, or tray",
        "# action  one of the words below",
        "# stage   larvae, small larvae (pass the harvest sieve), large larvae, pupae, beetles,",
        "#         or mixed (all together)",
        "# count   insects; grams: their weight. Either, both or none",
        f"# about   no or empty: counted or weighed (taken as right to {100 * COUNT_ERROR:g} % "
        f"and {100 * WEIGHT_ERROR:g} %);",
        f"#         yes: by the handful (to {100 * ABOUT_ERROR:g} %); or your own error: 40%",
        "# until   last day of a stretch that was not written down",
        "# note    anything",
        "#",
        *(f"# {action:{width}}  {action.about}" for action in LogAction),
        "#",
        "# Bins that were in use before the first row begin with a row 'larvae in'.",
        "# Counts and weights of a day are taken before its harvest. Beetles that go 'out' and are",
        "# not put 'in' on that or the next day have left the bins of this log.",
        ",".join(COLUMNS),
    ]
    return "\n".join(lines) + "\n" + _EXAMPLES
