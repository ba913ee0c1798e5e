"""What an answer says of moments that two exports give differently."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from lineview.core.language import mark, tr, tr_count
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Question, Scope
from lineview.store.reader import StoreReader

_EVER = datetime(1970, 1, 2, tzinfo=UTC), datetime(2199, 1, 1, tzinfo=UTC)
#: How rows of each kind of export are called.
_NAMES = {
    "readings": mark("reading"),
    "weights": mark("weighing"),
    "stock": mark("stock count"),
    "plan": mark("row of the plan"),
    "batches": mark("batch"),
    "stops": mark("stop of the log"),
    "reels": mark("reel"),
}
#: What a question works on and its answer has to name at once; readings of counters have bounds of their own, and
#: the order says by itself what of plan and stock it leaves out.
_KINDS_OF: dict[Question, tuple[str, ...]] = {
    "rope": ("batches",),
    "weight": ("weights", "batches"),
    "shift": ("plan", "stops", "batches"),
    "wrap": ("reels", "batches"),
    "order": (),
    "week": ("weights", "stops", "batches", "reels"),
}
#: Kinds that last, whose they are and what identifies one; and how long before a period one may begin.
_LAST = {"plan": ["line", "product"], "batches": ["line", "batch"], "stops": ["machine"]}
_LONGEST = timedelta(days=400)


def conflict_counts(store: StoreReader, plant: Plant, question: Question, scope: Scope) -> dict[str, int]:
    """How many contradictions there are in what a question is about, by kind of export; for the order of all time."""
    machines = {item.id for item in plant.machines if scope.line in ("", item.line) and scope.machine in ("", item.id)}
    lines = {scope.line} if scope.line else {item.id for item in plant.lines}
    period = (scope.period.start, scope.period.end)
    conflicts = _lasting(store, machines | lines, period)
    if question == "order":
        ever = store.disputed({item.id for item in plant.lines} | {item.id for item in plant.webs}, *_EVER)
        conflicts |= {kind: ever[kind] for kind in ("plan", "stock") if kind in ever}
    return conflicts


def _lasting(store: StoreReader, owners: set[str], period: tuple[datetime, datetime]) -> dict[str, int]:
    """How much is disputed in a period; what lasts is in it too where it begins before."""
    start, end = period
    conflicts = store.disputed(owners, start, end)
    earlier = store.disputed(owners, start - _LONGEST, end, list(_LAST))
    for kind in [kind for kind in _LAST if kind in earlier]:
        rows = store.contradicting(kind)
        until = pl.col("end").fill_null(pl.col("start") + pl.duration(microseconds=1))
        owned = pl.col(_LAST[kind][0]).is_in(list(owners))
        count = rows.filter(owned & (pl.col("start") < end) & (until > start)).select(_LAST[kind], "start").n_unique()
        conflicts |= {kind: count} if count else {}
    return conflicts


def replaced_rows(store: StoreReader, plant: Plant, question: Question, scope: Scope) -> int:
    """How many rows of earlier plans a question does without, since a later plan says something else.

    Takes the same as conflict_counts.
    """
    if question not in ("order", "shift"):
        return 0
    lines = [scope.line] if scope.line and question == "shift" else [item.id for item in plant.lines]
    until = pl.col("end").fill_null(pl.col("start") + pl.duration(days=1))
    is_due = pl.lit(value=True) if question == "order" else pl.col("start") < scope.period.end
    now = scope.period.end if question == "order" else scope.period.start
    return store.replaced_plan().filter(pl.col("line").is_in(lines) & (until > now) & is_due).height


def with_conflicts(answer: Answer, conflicts: dict[str, int], replaced: int = 0) -> Answer:
    """The answer with what of it is in conflict: as a note, and plainly where its question works on it.

    `replaced` counts rows of earlier plans in whose place a later one holds.
    """
    if replaced:
        later = tr_count(
            "{count} row of earlier plans differs from a later plan of as many weeks or days; the later one holds.",
            "{count:,} rows of earlier plans differ from a later plan of as many weeks or days; the later one holds.",
            replaced,
        )
        answer = replace(answer, notes=(*answer.notes, later))
    relevant = {kind: count for kind, count in conflicts.items() if kind in _KINDS_OF[answer.question]}
    every_conflict, plainly = conflict_words(conflicts), conflict_words(relevant)
    if not every_conflict:
        return answer
    soft = f"{answer.soft} {plainly}".strip() if plainly else answer.soft
    return replace(answer, soft=soft, notes=(*answer.notes, every_conflict))


def conflict_words(conflicts: dict[str, int]) -> str:
    """What is given in two versions, as a sentence; "" for nothing. Takes what conflict_counts gives."""
    if not conflicts:
        return ""
    parts = show.sentence_list([_counted(conflicts[kind], kind) for kind in _NAMES if kind in conflicts])
    return tr_count(
        "{parts} is given in two versions, of which neither is used: see Intake, or lineview intake --conflicts.",
        "{parts} are given in two versions, of which neither is used: see Intake, or lineview intake --conflicts.",
        sum(conflicts.values()),
        parts=parts,
    )


def _counted(number: int, kind: str) -> str:
    """How many rows of a kind of export there are."""
    return {
        "readings": tr_count("{count} reading", "{count:,} readings", number),
        "weights": tr_count("{count} weighing", "{count:,} weighings", number),
        "stock": tr_count("{count} stock count", "{count:,} stock counts", number),
        "plan": tr_count("{count} row of the plan", "{count:,} rows of the plan", number),
        "batches": tr_count("{count} batch", "{count:,} batches", number),
        "stops": tr_count("{count} stop of the log", "{count:,} stops of the log", number),
        "reels": tr_count("{count} reel", "{count:,} reels", number),
    }[kind]


@dataclass(frozen=True)
class ConflictGroup:
    """Moments of one column of one machine, or of one kind of sheet, that the same exports give differently.

    `what` names the column, `exports` are the intakes with their files, `first` and `last` the span of moments,
    `count` how many there are; `examples` say what each export says at the first few.
    """

    what: str
    exports: tuple[tuple[int, str], ...]
    first: datetime
    last: datetime
    count: int
    examples: tuple[str, ...]

    def span(self, plant: Plant) -> str:
        """From when to when its moments are."""
        first, last = (_moment(at, plant) for at in (self.first, self.last))
        return first if first == last else tr("{start} to {end}", start=first, end=last)


def _moment(at: datetime, plant: Plant) -> str:
    return show.moment(at, plant, seconds=at.second > 0)


#: So many moments of a group are shown.
EXAMPLES = 3


def conflict_groups(conflicts: pl.DataFrame, plant: Plant) -> list[ConflictGroup]:
    """Moments in conflict put together by exports and column, those of most moments first.

    Parameters
    ----------
    conflicts : polars.DataFrame
        As StoreReader.conflicts gives them.
    plant : Plant
        For names, and the clock that moments are shown by.
    """
    if not conflicts.height:
        return []
    each = conflicts.group_by("kind", "machine", "channel", "at", maintain_order=True).agg(
        pl.struct("intake", "file").unique(maintain_order=True).alias("exports"),
        pl.struct("value", "text", "intake").alias("said"),
    )
    column = pl.when(pl.col("kind") == "readings").then("channel").otherwise(pl.lit(""))
    grouped = each.with_columns(column.alias("column")).group_by(
        "kind", "machine", "column", "exports", maintain_order=True
    )
    groups = grouped.agg(
        pl.col("at").min().alias("first"),
        pl.col("at").max().alias("last"),
        pl.len().alias("count"),
        pl.struct("at", "channel", "said").sort_by("at").head(EXAMPLES).alias("examples"),
    )
    rows = groups.sort("count", "kind", "machine", "column", "first", descending=[True, *[False] * 4])
    return [_group(row, plant) for row in rows.iter_rows(named=True)]


def _group(row: dict[str, Any], plant: Plant) -> ConflictGroup:
    machine = plant.machine(row["machine"])
    owner = row["machine"] if machine is None else machine.label
    thing = tr(row["column"] or _NAMES.get(row["kind"], row["kind"]))
    exports = tuple((int(entry["intake"]), str(entry["file"])) for entry in row["exports"])
    examples = tuple(_example(row["kind"], entry, plant) for entry in row["examples"])
    return ConflictGroup(f"{owner}, {thing}", exports, row["first"], row["last"], int(row["count"]), examples)


def _example(kind: str, row: dict[str, Any], plant: Plant) -> str:
    """One moment, by the works' clock, with what each export says of it."""
    labelled = f" {row['channel']}" if kind != "readings" and row["channel"] else ""
    labelled = tr(" sample{name}", name=labelled) if labelled and kind == "weights" else labelled
    versions = [_version(moment, plant) for moment in row["said"]]
    return f"{_moment(row['at'], plant)}{labelled}: {tr(' or ').join(versions)}"


def _version(statement: dict[str, Any], plant: Plant) -> str:
    """What one export says: stamps by the works' clock, numbers without needless decimals."""

    def local(match: re.Match[str]) -> str:
        return _moment(datetime.fromisoformat(match[0]), plant)

    value = statement["value"]
    parts = [] if value is None else [show.number(float(value), _places(float(value)))]
    text = _STAMP.sub(local, statement["text"] or "")
    parts += [_NUMBER.sub(_number, text).replace(" = ", " ").replace("_", " ")] if text else []
    return tr("{said} (intake {intake})", said=", ".join(parts) or tr("nothing"), intake=statement["intake"])


def _number(match: re.Match[str]) -> str:
    value = float(match[0])
    return show.number(value, _places(value))


def _places(value: float) -> int:
    """As many decimals as the export wrote, up to six."""
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


_STAMP = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(?:\.\d+)?\+00:00")
_NUMBER = re.compile(r"(?<== )-?\d+\.\d+(?=,|$)")
