"""What cost most in a week, whether that is getting better, and what to work on first."""

from __future__ import annotations

from lineview.plant import Plant
from lineview.report.answer import Answer, Scope, scope_name
from lineview.week.account import WeekInputs, week_account
from lineview.week.figures import week_figures
from lineview.week.tables import loss_series, week_tables
from lineview.week.words import CAUTIONS, notes, sentence, soft_line


def answer_week(plant: Plant, scope: Scope, inputs: WeekInputs) -> Answer:
    """Answer what cost most, and whether it is getting better."""
    account = week_account(plant, inputs, (scope.period.start, scope.period.end), scope.now)
    return Answer(
        question="week",
        scope=scope,
        sentence=sentence(account, plant, scope),
        soft=soft_line(account, plant),
        figures=week_figures(account, plant, scope.period, scope_name(scope, plant)),
        tables=week_tables(account, plant),
        series={"losses": loss_series(account)},
        notes=notes(account, plant),
        cautions=CAUTIONS,
    )
