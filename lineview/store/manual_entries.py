"""What people enter by hand: adjustments, notes, reasons of stops, trials."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import polars as pl
from sqlalchemy import Connection, Table, insert, literal, select

from lineview.core.errors import AskError, Fault
from lineview.core.frames import ADJUSTMENTS, MANUAL_ENTRIES, TRIALS, UTC_US
from lineview.core.language import mark, tr
from lineview.store.audit import actor_now, write_entry
from lineview.store.files import locked, sealed, unsealed, write_file
from lineview.store.frames import fetch, micros
from lineview.store.journal import Journal, JournalReader
from lineview.store.tables import adjustments, notes, stop_reasons, trials

#: The tables that are filled by hand, and the file with a copy of them.
BY_HAND, ENTRIES = (adjustments, stop_reasons, notes, trials), "entries.json"

STOP_REASONS = {
    "machine": pl.String(),
    "start": UTC_US,
    "end": UTC_US,
    "reason": pl.String(),
    "who": pl.String(),
    "set_at": UTC_US,
}


class PeopleReader:
    """What stands in the journal's tables that are filled by hand."""

    def __init__(self, journal: JournalReader) -> None:
        self._journal = journal

    def adjustments(self, machine: str, first: int, end: int) -> pl.DataFrame:
        """Give ADJUSTMENTS from first up to, not including, end, sorted by moment."""
        rows, at = self.of_machines([machine], "adjustment"), pl.col("at").cast(pl.Int64)
        current = rows.filter(at >= first, at < end, ~pl.col("withdrawn"))
        return current.select(list(ADJUSTMENTS)).sort("at")

    def of_machines(self, machines: Sequence[str], kind: str) -> pl.DataFrame:
        """The entries of machines of one kind ("adjustment" or "note") in their present form: MANUAL_ENTRIES."""
        table = _TABLES[kind]
        words = [table.c.what, table.c.note] if kind == "adjustment" else [table.c.text, literal("")]
        query = (
            select(
                *(table.c.entry, literal(kind), table.c.machine, table.c.at, *words),
                *(table.c.who, table.c.set_at, literal(1), table.c.withdrawn),
            )
            .where(table.c.machine.in_(machines))
            .order_by(table.c.id)
        )
        with self._journal.reading() as connection:
            rows = fetch(connection, query, MANUAL_ENTRIES)
        numbered = rows.with_columns(revisions=pl.len().over("entry").cast(pl.Int64))
        return numbered.unique("entry", keep="last", maintain_order=True).sort(
            "at", descending=True, maintain_order=True
        )

    def stop_reasons(self, machine: str, first: int, end: int) -> pl.DataFrame:
        """Give STOP_REASONS of stops that reach into the time, sorted by start."""
        columns = stop_reasons.c
        query = (
            select(*(columns[name] for name in STOP_REASONS))
            .where(columns.machine == machine, columns.start < end, columns.end > first)
            .order_by(columns.start, columns.id)
        )
        with self._journal.reading() as connection:
            rows = fetch(connection, query, STOP_REASONS)
        # A reason that was undone stands as an empty one after it.
        return rows.unique("start", keep="last", maintain_order=True).filter(pl.col("reason") != "")

    def trials(self) -> pl.DataFrame:
        """Give TRIALS as they stand now, by number; those that were taken back wholly are left out."""
        with self._journal.reading() as connection:
            standing = [{**rows[-1], "noted_at": _judged_since(rows)} for rows in _standing(connection).values()]
        raw = {name: pl.Int64() if dtype == UTC_US else dtype for name, dtype in TRIALS.items()}
        return pl.DataFrame(standing, schema=raw).cast(pl.Schema(TRIALS))


def _standing(connection: Connection) -> dict[int, list[Mapping[str, Any]]]:
    """By trial, its entries that were not taken back, oldest first; trials without one are left out."""
    entries: dict[int, list[Mapping[str, Any]]] = {}
    for row in connection.execute(select(trials).order_by(trials.c.id)):
        rows = entries.setdefault(row.trial, [])
        if not row.undoes:
            rows.append(dict(row._mapping))
        elif rows:
            rows.pop()
    return {number: rows for number, rows in entries.items() if rows}


def _same_trial(connection: Connection, row: Mapping[str, Any]) -> int | None:
    """The number of a trial that is the same and still open."""
    for number, rows in _standing(connection).items():
        differing = {name for name, value in row.items() if rows[-1][name] != value}
        if not differing:
            return number
        if differing <= {"beside", "shifts"} and not rows[-1]["verdict"]:
            do = tr("Change it: lineview trial edit {number}.", number=number)
            raise AskError(
                Fault(tr("this is trial {number} already, planned otherwise", number=number), "trial", do=do)
            )
    return None


#: What decides how a trial is judged: changed later, it is as if the trial were noted then.
JUDGED_BY = ("begins_at", "line", "machine", "beside", "measure", "shifts")


def _judged_since(rows: Sequence[Mapping[str, Any]]) -> int:
    """Since when a trial is judged as it is now."""
    at = rows[-1]["set_at"]
    for row in reversed(rows):
        if any(row[name] != rows[-1][name] for name in JUDGED_BY):
            break
        at = row["set_at"]
    return int(at)


class ManualEntries(PeopleReader):
    """The journal's tables that are filled by hand; a copy of what is said stands in the store's folder."""

    def __init__(self, journal: Journal, folder: Path) -> None:
        super().__init__(journal)
        self._writable = journal
        self._folder = folder

    def write(self, kind: str, machine: str, at: datetime, what: str, note: str = "", entry: str = "") -> bool:
        """Keep what somebody did to a machine, or noted; an entry that is there already is kept as it is.

        Gives whether it was new: a phone that got no reply sends its entry again under the same name, and one that is
        pressed twice sends the same words of the same moment under another.
        """
        if len(entry) > 64 or not all(sign.isalnum() or sign == "-" for sign in entry):
            raise AskError(
                Fault(
                    tr("'{name}' is no name of an entry", name=entry[:80]), "entry", tr("up to 64 letters and digits")
                )
            )
        table, words = _TABLES[kind], _words(kind, what, note)
        with self._writing() as connection:
            row = {"machine": machine, "at": micros(at), **words, "entry": entry or uuid4().hex}
            if (entry and _revisions(connection, table, entry)) or _stands(connection, table, row):
                return False
            _revise(connection, table, row)
            write_entry(connection, kind, f"{machine}, {at:%Y-%m-%d %H:%M:%S}", None, words)
        return True

    def change(self, kind: str, entry: str, at: datetime, what: str, note: str = "") -> None:
        """Give an entry another moment and other words; its former ones stay behind it."""
        table, words = _TABLES[kind], _words(kind, what, note)
        with self._writing() as connection:
            before = _latest(connection, table, entry)
            row = {"machine": before["machine"], "at": micros(at), **words, "entry": entry}
            _revise(connection, table, row)
            _write_change(connection, _CHANGED[kind], before, row)

    def withdraw(self, kind: str, entry: str) -> None:
        """Let an entry hold no more; undo_change brings it back."""
        table = _TABLES[kind]
        with self._writing() as connection:
            before = _latest(connection, table, entry)
            if before["withdrawn"]:
                raise AskError(Fault(tr("it was removed already"), "entry", tr("one that still holds")))
            row = {**_content(before), "withdrawn": True}
            _revise(connection, table, row)
            _write_change(connection, _REMOVED[kind], before, row)

    def undo_change(self, kind: str, entry: str) -> None:
        """Bring back the form that an entry had before its last change; the first form is withdrawn."""
        table = _TABLES[kind]
        with self._writing() as connection:
            forms = _revisions(connection, table, entry)
            if not forms:
                raise AskError(Fault(tr("there is no such entry"), "entry", tr("one of the list")))
            row = _content(forms[-2]) if len(forms) > 1 else {**_content(forms[-1]), "withdrawn": True}
            _revise(connection, table, row)
            _write_change(connection, _CHANGED_BACK[kind], forms[-1], row)

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Keep why a machine stood; said again for the same start, the later saying holds."""
        if not start < end:
            raise AskError(
                Fault(tr("the stop ends before it starts"), "end", tr("a moment after {start}", start=start))
            )
        row = {
            "machine": machine,
            "start": micros(start),
            "end": micros(end),
            "reason": _checked_text(reason, "reason"),
            "set_at": micros(datetime.now(UTC)),
            "who": actor_now().name[:80],
        }
        same = (stop_reasons.c.machine == machine, stop_reasons.c.start == row["start"])
        earlier = select(stop_reasons.c.reason).where(*same).order_by(stop_reasons.c.id.desc()).limit(1)
        with self._writing() as connection:
            before = connection.execute(earlier).scalar()
            connection.execute(insert(stop_reasons), row)
            about = f"{machine}, {start:%Y-%m-%d %H:%M:%S} to {end:%Y-%m-%d %H:%M:%S}"
            former = None if before is None else {"reason": before}
            write_entry(connection, _REASON, about, former, {"reason": row["reason"]})

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        """Keep one reason for several stops, all of them or none; give the mark that undoes it."""
        words, mark, who = _checked_text(reason, "reason"), micros(datetime.now(UTC)), actor_now().name[:80]
        rows = [
            {
                "machine": machine,
                "start": micros(start),
                "end": micros(end),
                "reason": words,
                "set_at": mark,
                "who": who,
            }
            for start, end in stops
        ]
        with self._writing() as connection:
            connection.execute(insert(stop_reasons), rows)
            write_entry(connection, _REASONS, f"{machine}, {len(rows)} stops", None, {"reason": words, "mark": mark})
        return mark

    def undo_stop_reasons(self, mark: int) -> int:
        """Give stops back the reason that they had before those set together; give how many there were."""
        columns = stop_reasons.c
        with self._writing() as connection:
            rows = connection.execute(select(stop_reasons).where(columns.set_at == mark, columns.reason != "")).all()
            now, back = micros(datetime.now(UTC)), []
            for row in rows:
                same = select(columns.reason).where(columns.machine == row.machine, columns.start == row.start)
                if connection.execute(same.where(columns.id > row.id).limit(1)).first() is not None:
                    continue  # somebody said something else since, or it was undone
                earlier = same.where(columns.id < row.id).order_by(columns.id.desc()).limit(1)
                before = connection.execute(earlier).scalar() or ""
                stop = {"machine": row.machine, "start": row.start, "end": row.end}
                back.append({**stop, "reason": before, "set_at": now, "who": actor_now().name[:80]})
            if back:
                connection.execute(insert(stop_reasons), back)
                write_entry(connection, _REASONS_UNDONE, f"{len(back)} stops", {"mark": mark})
        if not back:
            what = tr("nothing set together under {number} still stands", number=mark)
            raise AskError(Fault(what, "undo", tr("the number shown when it was set")))
        return len(back)

    def set_trial(self, number: int | None, trial: Mapping[str, Any], read_as_of: datetime) -> int:
        """Keep a trial, or what it is from now on; give its number. Moments are datetimes, `ends_at` may be None.

        A new one that stands already, as after a second press of a button, is not kept twice. One that has changed
        since `read_as_of` stays as it is.
        """
        row = {
            **trial,
            "begins_at": micros(trial["begins_at"]),
            "ends_at": None if trial["ends_at"] is None else micros(trial["ends_at"]),
            "what": _checked_text(trial["what"], "what"),
            **{name: _short(trial[name], name) for name in ("verdict", "decision")},
        }
        with self._writing() as connection:
            if number is None and (there := _same_trial(connection, row)) is not None:
                return there
            if number is None:
                last = connection.execute(select(trials.c.trial).order_by(trials.c.trial.desc()).limit(1)).scalar()
                number = (last or 0) + 1
            before = _standing(connection).get(number, [])
            if before and before[-1]["set_at"] != micros(read_as_of):
                changed = tr("trial {number} was changed by {who} meanwhile", number=number, who=before[-1]["who"])
                raise AskError(Fault(changed, do=tr("Look at it again.")))
            connection.execute(insert(trials), row | {"trial": number, "undoes": False} | _signature())
            earlier = {name: before[-1][name] for name in row} if before else None
            write_entry(connection, _TRIAL, f"trial {number}", _listed(earlier), _listed(row))
        return number

    def undo_trial(self, number: int) -> bool:
        """Take back what was last said of a trial; give whether anything of it still stands."""
        with self._writing() as connection:
            rows = _standing(connection).get(number)
            if not rows:
                what = tr("there is no trial {number}", number=number)
                raise AskError(Fault(what, "trial", tr("a number that 'lineview trial list' shows")))
            last = rows[-1]
            withdrawn = {name: last[name] for name in last if name not in ("id", "undoes", "set_at", "who")}
            connection.execute(insert(trials), withdrawn | {"undoes": True} | _signature())
            write_entry(connection, _TRIAL_UNDONE, f"trial {number}", _listed(withdrawn))
        return len(rows) > 1

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """A connection of which all is kept, in the journal and in the copy beside it, or nothing."""
        with locked(self._folder / ".entries.lock"), self._writable.writing() as connection:
            yield connection
            self._copy(said_by_hand(connection))

    def settle(self) -> None:
        """Bring the copy to what the journal says, where somebody was stopped between the two."""
        with self._writable.reading() as connection:
            entries = said_by_hand(connection)
        if unsealed(self._folder / ENTRIES) != entries and (any(entries.values()) or (self._folder / ENTRIES).exists()):
            self._copy(entries)

    def _copy(self, entries: dict[str, list[dict[str, object]]]) -> None:
        text = sealed(entries)
        write_file(self._folder / ENTRIES, lambda part: part.write_text(text, encoding="utf-8"))


_TABLES = {mark("adjustment"): adjustments, mark("note"): notes}
#: What is done by hand, as the list of all that was written calls it.
_CHANGED = {"adjustment": mark("adjustment changed"), "note": mark("note changed")}
_REMOVED = {"adjustment": mark("adjustment removed"), "note": mark("note removed")}
_CHANGED_BACK = {"adjustment": mark("adjustment changed back"), "note": mark("note changed back")}
_REASON, _REASONS, _REASONS_UNDONE = mark("stop reason"), mark("stop reasons"), mark("stop reasons undone")
_TRIAL, _TRIAL_UNDONE = mark("trial"), mark("trial undone")


def _words(kind: str, what: str, note: str) -> dict[str, str]:
    """The words of an entry by the columns of its table."""
    if kind == "note":
        return {"text": _checked_text(what, "note")}
    return {"what": _checked_text(what, "what"), "note": _short(note, "note")}


def _revisions(connection: Connection, table: Table, entry: str) -> list[dict[str, Any]]:
    """All forms of an entry, the oldest first."""
    query = select(table).where(table.c.entry == entry).order_by(table.c.id)
    return [dict(row._mapping) for row in connection.execute(query)]


def _stands(connection: Connection, table: Table, row: dict[str, Any]) -> bool:
    """Whether an entry says the same of the same machine and moment, and was not removed or changed since."""
    fields = {name: content for name, content in row.items() if name != "entry"}
    alike = select(table.c.entry).where(*(table.c[name] == content for name, content in fields.items()))
    latest = (_latest(connection, table, entry) for entry in set(connection.execute(alike).scalars()))
    return any(fields.items() <= form.items() and not form["withdrawn"] for form in latest)


def _latest(connection: Connection, table: Table, entry: str) -> dict[str, Any]:
    forms = _revisions(connection, table, entry)
    if not forms:
        raise AskError(Fault(tr("there is no such entry"), "entry", tr("one of the list")))
    return forms[-1]


def _content(row: dict[str, Any]) -> dict[str, Any]:
    """A row without what the next revision gets anew."""
    return {name: value for name, value in row.items() if name not in ("id", "who", "set_at")}


def _revise(connection: Connection, table: Table, row: dict[str, Any]) -> None:
    """Put a further form of an entry behind its earlier ones."""
    signature = {"who": actor_now().name[:80], "set_at": micros(datetime.now(UTC))}
    connection.execute(insert(table), {"withdrawn": False, **row, **signature})


def _write_change(connection: Connection, action: str, before: dict[str, Any], after: dict[str, Any]) -> None:
    about = f"{after['machine']}, {after['entry']}"
    write_entry(connection, action, about, _content(before), _content(after))


def said_by_hand(connection: Connection) -> dict[str, list[dict[str, object]]]:
    """All rows of the tables that are filled by hand, by the table's name."""
    return {
        table.name: [dict(row._mapping) for row in connection.execute(select(table).order_by(table.c.id))]
        for table in BY_HAND
    }


def _listed(trial: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """A trial as the list of all that was written shows it: what makes its verdict's words says nothing there."""
    return trial and {**trial, "verdict": "kept" if trial["verdict"] else ""}


def _signature() -> dict[str, object]:
    return {"set_at": micros(datetime.now(UTC)), "who": actor_now().name[:80]}


#: Characters of one entry; the forms of the board allow fewer.
MOST_CHARACTERS = 500


def _checked_text(text: str, where: str) -> str:
    if not text.strip():
        raise AskError(Fault(tr("nothing was entered"), where, tr("some words")))
    return _short(text.strip(), where)


def _short(text: str, where: str) -> str:
    if len(text) > MOST_CHARACTERS:
        raise AskError(
            Fault(
                tr("{characters:,} characters", characters=len(text)), where, tr("up to {most:,}", most=MOST_CHARACTERS)
            )
        )
    if any(ord(sign) < 32 and sign not in "\t\n" for sign in text):
        raise AskError(Fault(tr("a control character"), where, tr("plain text")))
    return text
