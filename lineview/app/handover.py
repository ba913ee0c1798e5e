"""What a shift hands over: what is still open, and what was noted, as two short tables of its answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from lineview.app.conflict_notes import conflict_counts, conflict_words
from lineview.app.question import QuestionScope, machines_asked
from lineview.app.works import Works
from lineview.core.errors import AskError, Fault, LineviewError
from lineview.core.figure import Period
from lineview.core.language import mark, tr, tr_count
from lineview.plant.periods import shifts_between
from lineview.report import show
from lineview.report.answer import Answer, Scope, Table, columns_of, reels_ending
from lineview.rope.tables import UNJUDGED

#: A reel is about to end when it is to end within so long of the last reading, or of the next shift's start.
SOON = timedelta(hours=2)
#: The next shift is looked for so far ahead: over a long week-end.
AHEAD = timedelta(days=5)
#: Stops without a reason that are listed by their times; the others are counted. Characters of a name.
STOPS_LISTED, MOST_NAME = 4, 60
#: Of the rope so long before a shift is looked at to judge its adjustments.
BEFORE = timedelta(days=14)


def with_handover(works: Works, answer: Answer, by: str) -> Answer:
    """The answer of a shift with what its sheet hands over; that of another question as it is.

    Parameters
    ----------
    works : Works
        For what was written, the rope of the line, and what is in conflict.
    answer : Answer
        Of any question.
    by : str
        Name of who hands over; "" where it is not known.

    Returns
    -------
    Answer
        With the tables "open points" and "shift notes" in the last places, and the name in the line below the sentence.

    Raises
    ------
    AskError
        For a name that is too long, or one for another question.
    """
    name = " ".join(by.split())
    if answer.question != "shift":
        if name:
            raise AskError(
                Fault(tr("'{question}' is not handed over", question=answer.question), "--by", tr("the question shift"))
            )
        return answer
    if len(name) > MOST_NAME:
        raise AskError(
            Fault(tr("the name has {length} characters", length=len(name)), "--by", tr("up to {most}", most=MOST_NAME))
        )
    stops = answer.figure("stops")  # where nobody saw any, it is not that every one has a reason
    rows = [{"what": mark("stops"), "which": stops.why_none}] if stops and stops.why_none else []
    rows += [*_stops(works, answer), *_adjustments(works, answer), *_reels(works, answer), *_conflicts(works, answer)]
    rows = rows or [{"what": mark("nothing"), "which": tr("every stop has a reason, no reel is about to end")}]
    points = Table("open points", tr("Still open"), columns_of("what: still open; which:"), rows)
    soft = f"{tr('Handed over by {name}.', name=name)} {answer.soft}".strip() if name else answer.soft
    return replace(answer, soft=soft, tables=(*answer.tables, points, _notes(works, answer)))


def _during(rows: pl.DataFrame, answer: Answer) -> list[dict[str, Any]]:
    """The entries of the shift that still stand, by time; who leaves writes at its very end, and hands that over."""
    within = pl.col("at").is_between(answer.scope.period.start, answer.scope.period.end)
    return rows.filter(within & ~pl.col("withdrawn")).sort("at").rows(named=True)


def _notes(works: Works, answer: Answer) -> Table:
    machines = [machine.id for machine in works.plant.machines if machine.line == answer.scope.line]
    entries = _during(works.manual_entries(machines, "note"), answer)
    rows = [{"at": row["at"], "what": row["what"], "who": row["who"]} for row in entries]
    return Table("shift notes", tr("Notes of the shift"), columns_of("at: when; what: note; who: written by"), rows)


def _stops(works: Works, answer: Answer) -> list[dict[str, Any]]:
    timeline = answer.series.get("timeline")
    if timeline is None:
        return []
    stops = timeline.filter((pl.col("state") == "stop") & pl.col("reason").is_null()).sort("start").rows(named=True)
    times = [(row["start"], show.minutes(row["end"] - row["start"])) for row in stops]
    words = [f"{show.moment(at, works.plant, day=False)} ({long})" for at, long in times[:STOPS_LISTED]]
    more = [tr("{more} more", more=len(times) - STOPS_LISTED)] if len(times) > STOPS_LISTED else []
    what = tr_count("{count} stop without a reason", "{count:,} stops without a reason", len(times))
    return [{"what": what, "which": show.sentence_list([*words, *more])}] if times else []


def _adjustments(works: Works, answer: Answer) -> list[dict[str, Any]]:
    """The adjustments of the line's sizers in the shift of which it is not known yet what they did."""
    rows = []
    for sizer in machines_asked(works.plant, "rope", answer.scope.line):
        entries = _during(works.manual_entries([sizer.id], "adjustment"), answer)
        verdicts = _judged_moments(works, answer, sizer.id) if entries else []
        for entry in (entry for entry in entries if entry["at"] not in verdicts):
            at = show.moment(entry["at"], works.plant, day=False)
            rows.append({"what": mark("adjustment not judged yet"), "which": f"{sizer.label}, {at}: {entry['what']}"})
    return rows


def _judged_moments(works: Works, answer: Answer, sizer: str) -> Sequence[datetime]:
    """When adjustments were made that were judged since; none where the rope cannot be judged at all."""
    scope = answer.scope
    start, end = scope.period.start - BEFORE, max(scope.period.end, scope.now)
    try:
        tables = works.ask(QuestionScope("rope", machine=sizer, start=start, end=end)).tables
    except LineviewError:
        return []
    rows = next((table.rows for table in tables if table.name == "adjustments"), ())
    return [row["at"] for row in rows if row["verdict"] != UNJUDGED]


def _reels(works: Works, answer: Answer) -> list[dict[str, Any]]:
    """The reels that are about to end when the shift does; of one that is long over that is past."""
    scope = answer.scope
    if scope.now > scope.period.end + SOON:
        return []
    until = _looks_until(works, scope)
    if until > scope.period.end:  # the shift's own answer looks no further than its end
        later = QuestionScope("shift", machine=scope.machine, start=scope.period.start, end=until + SOON)
        answer = works.ask(later)
    return [
        {"what": mark("reel about to end"), "which": f"{reel} {show.moment(at, works.plant, day=False)}"}
        for reel, at in reels_ending(answer)
        if at <= until
    ]


def _looks_until(works: Works, scope: Scope) -> datetime:
    """Two hours from the last reading or the shift's end; where it ends before, two hours into the next one."""
    at = min(scope.now, scope.period.end)
    until = at + SOON
    ahead = shifts_between(works.plant.shifts, works.plant.tz, Period(at, at + AHEAD))
    starts = [period.start for _, _, period in ahead if period.start >= scope.period.end]
    return until if until <= scope.period.end or not starts else max(until, min(starts) + SOON)


def _conflicts(works: Works, answer: Answer) -> list[dict[str, Any]]:
    with works.store.snapshot() as store:
        words = conflict_words(conflict_counts(store, works.plant, "shift", answer.scope))
    return [{"what": mark("exports that disagree"), "which": words}] if words else []
