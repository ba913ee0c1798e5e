"""Waste of film at changeovers, restarts and in proportion, of machines written apart from the estimators."""

from dataclasses import asdict

import pytest

from tests.simulate.wasteful import Wasted, WastefulRun, wasteful_line
from tests.truth.test_wrap_truth import account_from

TRUE = Wasted()
CAUSES = ("restart", "changeover", "proportional")


def waste_of(made: WastefulRun):
    return account_from(made.plant, made.scope, made.frames).waste["film"]


def coverage(lines, causes=CAUSES) -> dict[str, tuple[int, int]]:
    """Of each cause: lines whose stated interval holds the truth, and lines that state one."""
    hits = {cause: [] for cause in causes}
    for made in lines:
        waste = waste_of(made)
        for cause in causes:
            allowance = getattr(waste, cause)
            if allowance is not None and allowance.learned:
                hits[cause].append(allowance.low <= asdict(TRUE)[cause] <= allowance.high)
    return {cause: (sum(held), len(held)) for cause, held in hits.items()}
