"""The journal's database: opening it, and the life of an intake from begun to done, undone or failed."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

import polars as pl
from sqlalchemy import Connection, create_engine, delete, event, exists, func, insert, inspect, select, text, update
from sqlalchemy.engine import URL
from sqlalchemy.exc import SQLAlchemyError

from lineview.core.errors import Fault, StoreError
from lineview.core.language import mark, tr
from lineview.store.audit import write_entry
from lineview.store.digests import OF_INTAKES, renew
from lineview.store.files import storage_errors
from lineview.store.frames import micros, plain
from lineview.store.tables import (
    adjustments,
    complete_for,
    extents,
    files,
    intakes,
    metadata,
    notes,
    of_kind,
    stop_reasons,
    trials,
    works,
)

#: The forms a journal may have, oldest first: the migrations in migrations/versions.
FORMS = ("0001", "0002", "0003", "0004", "0005")
NEWEST = FORMS[-1]


def migrate(connection: Connection) -> None:
    """Make or change the journal's tables as needed, all of it or, where something fails, none."""
    if _present(connection) == NEWEST:
        return
    if connection.dialect.name == "sqlite":  # its driver keeps each made table at once unless it has to begin
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    present = _present(connection)
    if present is None:
        _clear_half_made(connection)
        _make(connection)
    elif present not in FORMS:
        raise StoreError(_unknown_form(present))
    elif present != NEWEST:
        upgrade(connection)


def _clear_half_made(connection: Connection) -> None:
    """Remove the empty tables of a journal whose making was cut short, as it once could be."""
    names = set(inspect(connection).get_table_names())
    there = [table for table in metadata.sorted_tables if table.name in names]
    if any(connection.execute(select(exists(select(table)))).scalar() for table in there):
        raise StoreError(_unknown_form(tr("without a number")))
    metadata.drop_all(connection, there)
    connection.execute(text("DROP TABLE IF EXISTS alembic_version"))


def _unknown_form(present: str) -> Fault:
    expected = tr("form {newest} or older", newest=NEWEST)
    if present.isdecimal() and present > NEWEST:
        what = tr(
            "the journal was made by a newer version (form {present}; this one knows {newest})",
            present=present,
            newest=NEWEST,
        )
        return Fault(what, "journal", expected, tr("Use the newer version"))
    what = tr("the journal has a form that this version does not know ({present})", present=present)
    return Fault(what, "journal", expected, tr("Use the version that made it, or a copy of the store from before"))


def _make(connection: Connection) -> None:
    """Make the tables of a new journal as the migrations would, which are slow to import."""
    metadata.create_all(connection)
    key = "version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)"
    connection.execute(text(f"CREATE TABLE alembic_version ({key})"))
    connection.execute(text("INSERT INTO alembic_version VALUES (:newest)"), {"newest": NEWEST})


def upgrade(connection: Connection) -> None:
    """Run the migrations that a journal lacks, within a transaction which the caller commits."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _present(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


@dataclass(frozen=True)
class Beginning:
    """What the journal keeps of an intake.

    `content`: of the table intakes; its attempt, state and moment are set when it is written; `spans`: of the table
    extents, without the intake; `kinds`: rows of the journal's own kinds.
    """

    content: dict[str, Any]
    spans: list[dict[str, Any]]
    kinds: Sequence[tuple[str, pl.DataFrame]]


T = TypeVar("T")


class JournalReader:
    """The queries of the journal, over whatever connection `reading` gives."""

    def once(self, key: Hashable, read: Callable[[], T]) -> T:
        """What a query gives; while the journal may change it is asked anew each time."""
        return read()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection for queries."""
        raise NotImplementedError
        yield

    def known(self, sha256: str) -> int | None:
        """The intake of an export that is in, or None."""
        query = select(intakes.c.id).where(intakes.c.sha256 == sha256, intakes.c.state == "done")
        with self.reading() as connection:
            return connection.execute(query).scalar()

    def row(self, intake: int) -> Any | None:
        """An intake's row, or None."""
        with self.reading() as connection:
            return connection.execute(select(intakes).where(intakes.c.id == intake)).first()

    def done(self) -> list[int]:
        """The intakes that are in, oldest first."""
        query = select(intakes.c.id).where(intakes.c.state == "done").order_by(intakes.c.id)
        with self.reading() as connection:
            return list(connection.execute(query).scalars())


class JournalSnapshot(JournalReader):
    """The journal as one transaction sees it, whatever is written meanwhile; `known` keeps what was read of it."""

    def __init__(self, connection: Connection, known: dict[Hashable, Any]) -> None:
        self._connection = connection
        self._known = known
        self._turn = RLock()

    def once(self, key: Hashable, read: Callable[[], T]) -> T:
        """What a query gives, asked once of a state. Nobody may change it."""
        if key not in self._known:
            self._known[key] = read()
        result: T = self._known[key]
        return result

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """The one connection."""
        with self._turn, storage_errors(tr("read the journal")):
            yield self._connection


class Journal(JournalReader):
    """The journal's database, its tables brought to the form this version knows.

    Parameters
    ----------
    folder : pathlib.Path
        Where the SQLite file is made unless there is an address.
    url : str, optional
        An SQLAlchemy address such as postgresql+psycopg://user@host/name.
    """

    def __init__(self, folder: Path, url: str | None = None) -> None:
        self._known: tuple[str, dict[Hashable, Any]] = ("", {})
        with ExitStack() as failed:
            try:
                self.engine = create_engine(url or URL.create("sqlite", database=str(folder / "journal.sqlite")))
                failed.callback(self.engine.dispose)
                if self.engine.dialect.name == "sqlite":
                    event.listen(self.engine, "connect", _prepare_sqlite)
                complete_for(self.engine.dialect.name)
                with self.engine.begin() as connection:
                    migrate(connection)
            except (SQLAlchemyError, ImportError, ValueError) as error:
                raise StoreError(_cannot_open(error, is_file=url is None)) from error
            failed.pop_all()

    def close(self) -> None:
        """Let the database go."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection for queries."""
        with storage_errors(tr("read the journal")), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection whose changes are kept together, or none of them where something fails."""
        with storage_errors(tr("write to the journal")), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator[JournalSnapshot]:
        """The journal as it is now, held still for as long as the context lasts."""
        with storage_errors(tr("read the journal")), self.engine.connect() as connection:
            if self.engine.dialect.name == "sqlite":
                connection.exec_driver_sql("BEGIN")  # the driver begins none of its own for queries
            else:
                connection.execution_options(isolation_level="REPEATABLE READ")
            version = version_of(JournalSnapshot(connection, {}))
            before, known = self._known
            if version != before:
                self._known = version, (known := {})
            yield JournalSnapshot(connection, known)

    def done_with(self, kind: str) -> list[Any]:
        """The rows of intakes that are in and have rows of a measured kind."""
        there = exists().where(extents.c.intake == intakes.c.id, extents.c.kind == kind)
        with self.reading() as connection:
            return list(connection.execute(select(intakes).where(intakes.c.state == "done", there)))

    def ended(self) -> list[Any]:
        """The rows of intakes that are in or were undone, oldest first."""
        query = select(intakes).where(intakes.c.state.in_(("done", "undone"))).order_by(intakes.c.id)
        with self.reading() as connection:
            return list(connection.execute(query))

    def works(self) -> str | None:
        """The id of the works that the journal is of, or None while nobody has said it."""
        with self.reading() as connection:
            return connection.execute(select(works.c.id)).scalar()

    def set_works(self, name: str, wrote: Sequence[dict[str, Any]]) -> None:
        """Say which works the journal is of, and list the files of intakes of a former version."""
        with self.writing() as connection:
            connection.execute(insert(works), {"id": name, "digest": ""})
            if wrote:
                connection.execute(insert(files), list(wrote))
            renew(connection, list(connection.execute(select(intakes.c.id)).scalars()))

    def uncleared(self) -> list[Any]:
        """The rows of intakes that a crash may have left half-way."""
        unfinished = (intakes.c.state != "done") & ~intakes.c.cleared
        with self.reading() as connection:
            return list(connection.execute(select(intakes).where(unfinished).order_by(intakes.c.id)))

    def begin(self, several: Sequence[Beginning]) -> list[Any]:
        """Write all that the journal keeps of intakes, hidden until they are done."""
        with self.writing() as connection:
            return [_insert_intake(connection, beginning) for beginning in several]

    def complete(self, intake: int, values: dict[str, Any], spans: Sequence[dict[str, Any]]) -> Any:
        """Write what is known of an intake only once it was read to its end, hidden until it is done."""
        with self.writing() as connection:
            connection.execute(update(intakes).where(intakes.c.id == intake).values(**values))
            if spans:
                connection.execute(insert(extents), [{**span, "intake": intake} for span in spans])
            return connection.execute(select(intakes).where(intakes.c.id == intake)).one()

    def end(self, ids: Sequence[int], state: str, wrote: Sequence[dict[str, Any]] = ()) -> None:
        """Say what became of intakes and list the files they wrote; of those not done, all rows but their own go."""
        with self.writing() as connection:
            if state != "done":
                for table in OF_INTAKES:
                    connection.execute(delete(table).where(table.c.intake.in_(ids)))
            elif wrote:
                connection.execute(insert(files), list(wrote))
            before = connection.execute(select(intakes).where(intakes.c.id.in_(ids))).all()
            connection.execute(update(intakes).where(intakes.c.id.in_(ids)).values(state=state))
            for row in before:
                about = f"intake {row.id}, {row.file}"
                write_entry(connection, _ACTIONS[state], about, {"state": row.state}, {"state": state})
            renew(connection, ids)

    def put_back(
        self,
        row: Any,
        spans: Sequence[dict[str, Any]],
        kinds: Sequence[tuple[str, pl.DataFrame]],
        wrote: Sequence[dict[str, Any]],
    ) -> None:
        """Put all that came with an intake in the place of what the journal has of it, and say that it is in."""
        with self.writing() as connection:
            for table in OF_INTAKES:
                connection.execute(delete(table).where(table.c.intake == row.id))
            _insert_rows(connection, row.id, spans, kinds)
            if wrote:
                connection.execute(insert(files), list(wrote))
            connection.execute(update(intakes).where(intakes.c.id == row.id).values(state="done", cleared=False))
            renew(connection, [row.id])

    def list_files(self, intake: int, kind: str, wrote: Sequence[dict[str, Any]]) -> None:
        """List files of one kind in the place of those that an intake has of it."""
        with self.writing() as connection:
            connection.execute(delete(files).where(files.c.intake == intake, files.c.kind == kind))
            if wrote:
                connection.execute(insert(files), list(wrote))
            renew(connection, [intake])

    def lost_intakes(self) -> list[Any]:
        """The rows of intakes that are to be read from their originals again."""
        with self.reading() as connection:
            return list(connection.execute(select(intakes).where(intakes.c.state == "lost").order_by(intakes.c.id)))

    def fill(self, name: str, rows: Sequence[dict[str, Any]], by_hand: dict[str, list[dict[str, Any]]]) -> None:
        """Fill an empty journal with the intakes of a works and with what was entered by hand."""
        with self.writing() as connection:
            connection.execute(insert(works), {"id": name, "digest": ""})
            if rows:
                connection.execute(insert(intakes), list(rows))
            for table, entries in by_hand.items():
                if entries:
                    revised = "entry" in metadata.tables[table].c  # a copy made before there were entries has none
                    journal_rows = [{"entry": f"row-{row['id']}", **row} if revised else row for row in entries]
                    connection.execute(insert(metadata.tables[table]), journal_rows)
            renew(connection, [])

    def clear(self, intake: int) -> None:
        """Note that nothing is left of an undone or failed intake."""
        with self.writing() as connection:
            connection.execute(update(intakes).where(intakes.c.id == intake).values(cleared=True))


#: What an intake's new state is called among what was written.
_ACTIONS = {"done": mark("export taken in"), "undone": mark("intake undone"), "failed": mark("intake failed")}


def _insert_intake(connection: Connection, beginning: Beginning) -> Any:
    earlier = select(func.count()).where(intakes.c.sha256 == beginning.content["sha256"])
    row = {
        **beginning.content,
        "attempt": connection.execute(earlier).scalar_one(),
        "taken_at": micros(datetime.now(UTC)),
        "state": "begun",
        "cleared": False,
    }
    inserted = connection.execute(insert(intakes).returning(intakes), row).one()
    _insert_rows(connection, inserted.id, beginning.spans, beginning.kinds)
    return inserted


def _insert_rows(
    connection: Connection, intake: int, spans: Sequence[dict[str, Any]], kinds: Sequence[tuple[str, pl.DataFrame]]
) -> None:
    if spans:
        connection.execute(insert(extents), [{**span, "intake": intake} for span in spans])
    for name, tidy in kinds:
        if tidy.height:
            rows = plain(tidy.with_columns(intake=pl.lit(intake, pl.Int64)))
            connection.execute(insert(of_kind[name]), rows)


def _prepare_sqlite(connection: Any, _: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA busy_timeout=30000")  # first, since the next may have to wait too
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")  # a power cut must not take back what was reported as done
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.close()


def _cannot_open(error: Exception, is_file: bool) -> Fault:
    if isinstance(error, ImportError):
        what = tr("the database's driver is not installed ({name})", name=error.name)
        return Fault(what, "journal", tr("a driver for this address"), tr("Install lineview[postgresql]"))
    reason = str(getattr(error, "orig", None) or error).strip().splitlines() or [type(error).__name__]
    advice = tr("Check the address and the rights")
    if is_file:
        advice = tr("Check the disk's space and rights, then try again: nothing is left half done")
    what = tr("the journal cannot be opened: {reason}", reason=reason[0])
    return Fault(what, "journal", tr("a database that can be reached and written"), advice)


def version_of(journal: JournalReader) -> str:
    """The mark."""
    return journal.once("version", lambda: _version(journal))


def _version(journal: JournalReader) -> str:
    in_answers = intakes.c.state.in_(("done", "undone"))  # what is only begun is in no answer yet
    counts = (intakes.c.state, func.count(), func.max(intakes.c.id))
    by_state = select(*counts).where(in_answers).group_by(intakes.c.state)
    with journal.reading() as connection:
        marks = sorted(tuple(row) for row in connection.execute(by_state))
        for table in (adjustments, stop_reasons, notes, trials):
            marks.append(tuple(connection.execute(select(func.count(), func.max(table.c.id))).one()))
    return "-".join(":".join(str(part) for part in mark) for mark in marks)
