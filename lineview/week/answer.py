"""What cost most in a week, whether that is getting better, and what to work on first."""

from __future__ import annotations

from dataclasses import replace

from lineview.core.language import tr
from lineview.plant import Plant
from lineview.report.answer import Answer, Scope, scope_name
from lineview.week.account import WeekInputs, week_account
from lineview.week.compare import Comparison
from lineview.week.figures import week_figures
from lineview.week.side_by_side import (
    compared_figures,
    compared_sentence,
    compared_soft,
    compared_tables,
    difference_series,
)
from lineview.week.tables import loss_series, pattern_series, week_tables
from lineview.week.words import CAUTIONS, notes, sentence, soft_line


def answer_week(plant: Plant, scope: Scope, inputs: WeekInputs) -> Answer:
    """Answer what cost most, and whether it is getting better; or how two scopes differ, and through what."""
    account = week_account(plant, inputs, (scope.period.start, scope.period.end), scope.now)
    answer = Answer(
        question="week",
        scope=scope,
        sentence=sentence(account, plant, scope),
        soft=soft_line(account, plant),
        figures=week_figures(account, plant, scope.period, scope_name(scope, plant)),
        tables=week_tables(account, plant),
        series={"losses": loss_series(account), "pattern_stops": pattern_series(account.patterns)},
        notes=notes(account, plant),
        cautions=tuple(map(tr, CAUTIONS)),
    )
    return answer if account.comparison is None else _with_comparison(answer, account.comparison, plant)


def _with_comparison(answer: Answer, comparison: Comparison, plant: Plant) -> Answer:
    """The answer with the comparison before everything else."""
    whole = tr(
        " In all of {period}, {where}, {sentence}",
        period=answer.scope.label or tr("this period"),
        where=scope_name(answer.scope, plant),
        sentence=f"{answer.text[:1].lower()}{answer.text[1:]}",
    )
    return replace(
        answer,
        sentence=compared_sentence(comparison),
        soft=f"{compared_soft(comparison)}{whole}",
        figures=(*compared_figures(comparison, answer.scope.period), *answer.figures),
        tables=(*compared_tables(comparison), *answer.tables),
        series={"differences": difference_series(comparison), **answer.series},
        notes=((f"{comparison.why_none}.",) if comparison.why_none else ()) + tuple(answer.notes),
    )
