"""A proposal's open questions answered: the layout that results."""

from __future__ import annotations

from collections.abc import Mapping

from lineview.errors import Fault, IntakeError
from lineview.intake.export import Proposal
from lineview.intake.propose_values import LEAVE_OUT
from lineview.plant import Layout


def settle(proposal: Proposal, answers: Mapping[str, str]) -> Layout:
    """Answer a proposal's questions.

    Parameters
    ----------
    proposal : Proposal
        As read_export gives it.
    answers : mapping of str to str
        By what each question is about: one of its options. Answers to other questions are passed over.

    Returns
    -------
    Layout
        With every question answered, ready to be kept.

    Raises
    ------
    IntakeError
        For every question that is left open and every answer that is no option.

    Examples
    --------
    >>> from pathlib import Path
    >>> import polars as pl
    >>> settle(Proposal(Path("a.csv"), Layout(id="a"), pl.DataFrame()), {}).id
    'a'
    """
    faults = []
    settled: dict[str, object] = {}
    for question in proposal.questions:
        options = [option for option, _ in question.options]
        answer = answers.get(question.about)
        if answer is None or (options and answer not in options):
            what = "is not answered" if answer is None else f"cannot be answered by '{answer}'"
            told = " or ".join(f"'{option}' ({meaning})" for option, meaning in question.options)
            faults.append(Fault(f"'{question.about}' {what}: {question.text}", str(proposal.path), told))
        else:
            settled[question.about] = answer
    if faults:
        raise IntakeError(faults)
    return _with(proposal.layout, settled)


def _with(layout: Layout, settled: Mapping[str, object]) -> Layout:
    """Write answers into a layout: a setting by its name, or a column's target or unit."""
    columns = dict(layout.columns)
    settings: dict[str, object] = {}
    for about, answer in settled.items():
        part, _, header = about.partition(" of ")
        if part == "unit" and header in columns:
            columns[header] = columns[header].model_copy(update={"unit": answer})
        elif part == "to" and header in columns and answer == LEAVE_OUT:
            del columns[header]
        elif part == "to" and header in columns:
            columns[header] = columns[header].model_copy(update={"to": answer})
        else:
            settings[about] = answer
    return Layout.model_validate({**layout.model_dump(), **settings, "columns": columns})
