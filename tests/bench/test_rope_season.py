"""A season's rope and weights against those of one shift, asked in one process.

Processor seconds of one run are compared with each other, so that other work on the machine does not decide.
"""

import json
from datetime import timedelta
from statistics import median

import pytest

from tests.bench.measured import HERE, python
from tests.bench.works_at_scale import FIRST

pytestmark = [pytest.mark.bench, pytest.mark.long]

DAYS, SHIFTS = 90, 3
#: A season holds some 130 shifts; its answer may take so many times what one shift's takes, at most.
MOST = {"rope": 6.0, "weight": 12.0}


@pytest.mark.parametrize("question", ["rope", "weight"])
def test_a_season_takes_a_few_times_what_a_shift_takes(season, question, capsys) -> None:
    works, code = season["now"]
    seasons = [f"{FIRST + timedelta(days=n)}..{FIRST + timedelta(days=DAYS - 1 - n)}" for n in range(SHIFTS)]
    shifts = [f"{FIRST + timedelta(days=n)}.early" for n in range(36, 36 + SHIFTS)]
    # The first ask of each kind makes records and imports what it needs.
    plan = [(question, period) for period in (f"{FIRST}..{FIRST + timedelta(days=DAYS)}", *seasons)]
    plan += [(question, period) for period in (f"{FIRST + timedelta(days=35)}.early", *shifts)]
    spent = python([HERE / "asked_in_process.py", works], code, json.dumps(plan))
    assert spent.status == 0, spent.complaint
    took = {line["period"]: line["cpu_s"] for line in map(json.loads, spent.printed.splitlines())}
    long, short = (median(took[period] for period in periods) for periods in (seasons, shifts))
    with capsys.disabled():
        print(
            f"\n{question} of {DAYS} days {1000 * long:.0f} ms, of a shift {1000 * short:.0f} ms: "
            f"{long / short:.1f} times (at most {MOST[question]:.0f}); peak {spent.peak_mb:.0f} MB"
        )
    assert long < MOST[question] * short
