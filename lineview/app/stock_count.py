"""A stock count that a person enters: kept as an export of its own, so that it is audited and undone as one."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory

from lineview.app.take_in import take_in
from lineview.core.errors import AskError, Fault, MeasureError
from lineview.core.frames import STOCK
from lineview.core.language import tr, two_ways, typed_number
from lineview.order.orders import latest_counts
from lineview.plant import ColumnTarget, Layout, Plant
from lineview.plant.periods import at_wall_time, moment, read_wall_time
from lineview.store.store import Store
from lineview.wrap.reels import part_reel_m

FIELDS = tuple(name for name in STOCK if name not in ("at", "intake", "row"))
LAYOUT = Layout(id="count", kind="stock", decimal=".", columns={name: ColumnTarget(to=name) for name in FIELDS})
#: Reels of one count at most; more is a slip of the hand.
MOST_REELS = 1e6


def read_count(plant: Plant, web: str, at: str, whole: str, parts: str, coming: str) -> tuple[datetime, str]:
    """Moment and export of a count as typed: part reels by diameter [mm], deliveries as "36 2026-08-19" or "none"."""
    described = plant.web(web)
    if described is None:
        names = ", ".join(entry.id for entry in plant.webs)
        raise AskError(Fault(tr("unknown web '{web}'", web=web), "web", tr("one of {names}", names=names)))
    faults: list[Fault] = []
    reels = _number(whole, tr("reels"), faults)
    parts_mm = [_number(part, tr("part reels"), faults) for part in parts.split()]
    for part in parts_mm:
        try:
            part_reel_m(described, part)
        except MeasureError as error:
            faults += error.faults
    stated_none = coming.strip().casefold() in {"none", tr("none").casefold()}
    deliveries = [] if stated_none else [_delivery(text.strip(), plant, faults) for text in coming.split(";")]
    if faults:
        raise AskError(faults)
    counted_at = moment(at, plant.tz, tr("counted at"), timed=True)
    local = counted_at.astimezone(plant.tz).replace(tzinfo=None)
    lines = [";".join(("time", *FIELDS))]
    for row, (measured, delivery) in enumerate(zip_longest([f"{part:g}" for part in parts_mm] or [""], deliveries)):
        due, day = delivery or ("", "")
        stamp = (local + timedelta(milliseconds=row)).isoformat()  # one moment and diameter would be in conflict
        lines.append(f"{stamp};{web};{0 if row else reels:g};{measured or ''};{due};{day}")
    return counted_at, "\n".join(lines) + "\n"


def _number(text: str, where: str, faults: list[Fault]) -> float:
    """A number from 0 on; a fault and 0 where it is none."""
    if 0 <= (number := typed_number(text)) <= MOST_REELS:
        return number
    expected = two_ways(text) or tr("for instance 12")
    faults.append(Fault(tr("'{text}' is not a number from 0 on", text=text), where, expected))
    return 0.0


def _delivery(text: str, plant: Plant, faults: list[Fault]) -> tuple[str, str]:
    """Reels and day of a delivery; what is not stated is asked for, since an open order left out orders too much."""
    reels, _, day = text.partition(" ")
    if not reels:
        what = tr("what is still to come is not stated")
        faults.append(Fault(what, tr("still to come"), tr("36 2026-08-19, or none")))
        return "", ""
    try:
        expected = (
            at_wall_time(read_wall_time(day, tr("still to come")), plant.tz, tr("still to come")) if day else None
        )
    except AskError as error:
        faults += error.faults
        return "", ""
    number = _number(reels, tr("still to come"), faults)
    return f"{number:g}", "" if expected is None else f"{expected.astimezone(plant.tz):%Y-%m-%d}"


def keep_count(plant: Plant, store: Store, web: str, at: datetime, text: str) -> int:
    """Take a count in as an export; give its intake. One that a later count hides is refused."""
    before = latest_counts(plant, store.stock()).by_web.get(web)
    if before is not None and at <= before.counted_at:
        after = tr("after {moment}", moment=f"{before.counted_at.astimezone(plant.tz):%Y-%m-%d %H:%M}")
        raise AskError(Fault(tr("a count of this moment or later stands"), tr("counted at"), after))
    with TemporaryDirectory(prefix="lineview-") as folder:
        path = Path(folder) / f"count-{web}-{at:%Y-%m-%d-%H%M%S}.csv"
        path.write_text(text, encoding="utf-8")
        result = take_in([path], plant.model_copy(update={"layouts": (LAYOUT,)}), store)[0]
    receipt = result.receipt
    if receipt is None or receipt.conflicts or (receipt.refused and not receipt.already):
        if receipt is not None:
            store.undo(receipt.intake)
        raise result.error or AskError(Fault(tr("the count could not be kept whole"), "count"))
    return receipt.intake
