"""The shift's tables: ladder, what comes next, stops, shifts, ISO 22400-2's key figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from lineview.core.language import mark, tr
from lineview.machine.stops import pareto, stop_list
from lineview.machine.timeline import CHANGEOVER_WORDS, FOUND_REASON
from lineview.report.answer import Scope, Table, columns_of
from lineview.report.figure_table import FIGURES
from lineview.shift.account import loss_waterfall
from lineview.shift.key_figures import (
    LETTERS,
    STATE_TO_TIME,
    iso_key_figures,
    productive_maintenance_figures,
    time_elements,
    why_unknown,
)
from lineview.shift.measures import ShiftMeasures

#: Stops listed; the rest are in the figures and the timeline.
MOST_ROWS = 200


def ladder_table(measures: ShiftMeasures) -> Table:
    """The pieces from nominal to good, cause by cause."""
    rungs = loss_waterfall(measures.so_far, good_counted=measures.good_counted)
    rows = []
    for r in rungs:
        is_known = not measures.so_far.is_all_unseen or r.kind != "loss" or bool(r.pieces or r.minutes)
        minutes, pieces = (r.minutes, r.pieces) if is_known else (None, None)
        rows.append({"cause": r.cause, "minutes": minutes, "pieces": pieces})
    columns = columns_of("cause: where the pieces went; minutes [min]; pieces")
    return Table("ladder", tr("Where the pieces went"), columns, rows)


def next_table(measures: ShiftMeasures, scope: Scope, events: Sequence[dict[str, Any]]) -> Table:
    """What comes next and when: reel and batch ends, then the end of the shift."""
    columns = columns_of("event: next; at; earliest; latest; why:")
    end = {"event": mark("shift ends"), "at": scope.period.end, "earliest": None, "latest": None, "why": ""}
    rows = [*events, end] if measures.left_min > 1e-6 else []
    return Table("next", tr("Next"), columns, rows)


def stop_table(measures: ShiftMeasures) -> Table:
    """List the stops, short stops and changeovers by time; where there are too many, the longest of them."""
    every = stop_list(measures.timeline)
    rows = every.sort("minutes", descending=True).head(MOST_ROWS).sort("start").rows(named=True)
    rows = [{**row, "reason": _reason_shown(row["state"], row["reason"])} for row in rows]
    most = {"listed": MOST_ROWS, "stops": every.height}
    title = tr("Stops") if every.height <= MOST_ROWS else tr("The {listed} longest of {stops:,} stops", **most)
    columns = columns_of("start: from; end: to; minutes [min]; state; reason")
    return Table("stops", title, columns, rows)


def _reason_shown(state: str, reason: str | None) -> str | None:
    """What a log says of a stand; of a changeover it may say why a part of it took so long."""
    whole = state != "changeover" or not reason or reason == FOUND_REASON or CHANGEOVER_WORDS.search(reason)
    return reason if whole else tr("in part: {reason}", reason=tr(reason or ""))


def reason_table(measures: ShiftMeasures) -> Table:
    """Sum the standing minutes by reason, the longest first."""
    columns = columns_of("reason; stops; minutes [min]; share_percent: share [%]; so_far_percent: running total [%]")
    return Table("reasons", tr("Downtime by reason"), columns, pareto(stop_list(measures.timeline)).rows(named=True))


def unrecorded_table(measures: ShiftMeasures) -> list[Table]:
    """List the changeovers that were found, not recorded, with how sure each is; no table without one."""
    changeovers = measures.changeovers.filter(pl.col("sure").is_not_null())
    if not changeovers.height or not measures.timeline.height:
        return []
    inside = (pl.col("start") < measures.timeline["end"].max()) & (pl.col("end") > measures.timeline["start"].min())
    rows = changeovers.filter(inside).select("start", "end", "minutes", sure_percent=pl.col("sure") * 100)
    columns = columns_of("start: from; end: to; minutes [min]; sure_percent: how sure [%]")
    title = tr("Changeovers found in the rope, not recorded")
    return [Table("found changeovers", title, columns, rows.rows(named=True))] if rows.height else []


def shift_table(measures: ShiftMeasures) -> Table:
    """One row a shift and their sum; ratios of the sum, never means of ratios."""
    rows: list[dict[str, Any]] = []
    names = measures.windows.select("shift", "date", "start").rows()
    for (shift, date, start), account in zip(names, measures.accounts, strict=True):
        rows.append({"shift": shift, "date": date, "start": start, **_summary(account)})
    rows.append({"shift": mark("all"), "date": None, "start": None, **_summary(measures.so_far)})
    columns = columns_of(
        "date: day; shift; good: good pieces; planned [min]; run: ran [min]; stood [min]; "
        "unseen: not seen [min]; rate: effective rate [pieces/min]; uptime [%]"
    )
    return Table("shifts", tr("Shift by shift"), columns, rows)


def _summary(account: Any) -> dict[str, Any]:
    good, minutes = account.good.value, account.planned_min - account.unseen_min
    return {
        "good": None if good is None else round(good),
        "planned": account.planned_min,
        "run": None if account.is_all_unseen else account.run_min,
        "stood": None if account.is_all_unseen else account.stand_min,
        "unseen": account.unseen_min,
        "rate": good / account.planned_min if good is not None and account.planned_min > 0 else None,
        "uptime": 100 * account.run_min / minutes if minutes > 1e-9 else None,
    }


def leg_table(legs: pl.DataFrame) -> Table:
    """The legs of one speed, for a period in which the speed stepped."""
    columns = columns_of("start: from; end: to; run_min: ran [min]; pieces; rate_per_min: rate [pieces/min]")
    return Table("legs", tr("Stretches at one speed"), columns, legs.rows(named=True))


def key_figure_table(measures: ShiftMeasures) -> Table:
    """Give ISO 22400-2's key figures with formulas, and where our states' minutes go."""
    elements = time_elements(measures.so_far)
    short, reasons = measures.so_far.minutes["short stop"], why_unknown(measures.so_far)
    figures = (*iso_key_figures(elements), *productive_maintenance_figures(elements, short))
    rows: list[dict[str, Any]] = [
        {
            "name": FIGURES[k.figure].label,
            "percent": None if k.value is None or k.name in reasons else 100 * k.value,
            "formula": k.formula + (tr(" (not known: {why})", why=reasons[k.name]) if k.name in reasons else ""),
            "minutes": None,
        }
        for k in figures
    ]
    for state, (iso, losses) in STATE_TO_TIME.items():
        known = not measures.so_far.is_all_unseen or state in ("unseen", "break")
        minutes = measures.so_far.minutes[state] if known else None
        formula = tr("ISO 22400-2: {element}; six losses: {losses}", element=tr(iso), losses=tr(losses))
        rows.append(
            {"name": tr("minutes {state}", state=tr(state)), "percent": None, "formula": formula, "minutes": minutes}
        )
    for letters, words in LETTERS.items():
        name = tr("in formulas: {letters}", letters=letters)
        rows.append({"name": name, "percent": None, "formula": words, "minutes": None})
    columns = columns_of("name: ISO 22400-2; percent: value [%]; minutes [min]; formula")
    return Table("key figures", tr("Key figures (ISO 22400-2)"), columns, rows)
