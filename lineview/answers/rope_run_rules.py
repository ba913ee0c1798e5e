"""The run rules' table, where plant.toml asks for them, and why they were refused."""

from __future__ import annotations

import numpy as np

from lineview.answers.answer import Table
from lineview.answers.rope_words import number
from lineview.measures.rope_account import RopeAccount
from lineview.stats.run_rules import NELSON


def run_rules_table(account: RopeAccount) -> Table:
    """Give what each run rule asked for signals.

    Parameters
    ----------
    account : RopeAccount
        What was measured.

    Returns
    -------
    Table
        "run_rules"; without rows where none is asked for or they were refused.
    """
    columns = (
        ("rule", "rule", ""), ("signals", "signals", ""), ("stands", "since the last adjustment", ""),
        ("first", "first of these", ""),
    )  # fmt: skip
    found, model, seen = account.run_rules, account.model, account.watch
    title = "Run rules on the batches' residuals (Nelson's tests)"
    if found is None or model is None or seen is None or found.refused:
        return Table("run_rules", title, columns, ())
    if found.run_length is not None:
        title += f"; together they alarm falsely once in {number(found.run_length, 0)} batches"
    rows = []
    for test, signal in found.signals.items():
        places = np.flatnonzero(signal)
        standing = places[places >= seen.since]
        first = model.points["at"][int(standing[0])] if standing.size else None
        words = f"{test}: {NELSON[test - 1]}"
        rows.append({"rule": words, "signals": places.size, "stands": standing.size, "first": first})
    return Table("run_rules", title, columns, rows)


def run_rules_notes(account: RopeAccount) -> list[str]:
    """Say why run rules were not applied, where they were asked for.

    Parameters
    ----------
    account : RopeAccount
        What was measured.

    Returns
    -------
    list of str
        Plain sentences.
    """
    found = account.run_rules
    if found is None:
        return []
    if found.refused:
        return [f"Run rules are asked for in plant.toml and were not applied: {found.refused}."]
    return ["Run rules are on: they add false alarms to those of the charts, whose rate is set without them."]
