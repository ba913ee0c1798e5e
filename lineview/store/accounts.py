"""Who may use the board: people, signed-in browsers, paired screens and the codes that pair them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from sqlalchemy import Connection, Row, delete, insert, select, update

from lineview.core.errors import AskError, Fault
from lineview.core.frames import UTC_US
from lineview.core.language import mark, tr
from lineview.store.audit import entries, write_entry
from lineview.store.frames import fetch, micros
from lineview.store.journal import Journal
from lineview.store.tables import pairings, sessions, users

SCREENS = {"id": pl.Int64(), "screen": pl.String(), "begun_at": UTC_US, "ends_at": UTC_US}


@dataclass(frozen=True)
class User:
    """A person who may use the board: name, rights and the password's hash."""

    id: int
    name: str
    rights: tuple[str, ...]
    password: str


@dataclass(frozen=True)
class Session:
    """A signed-in browser: its id, its person or the name of a paired screen, and since when it is signed in."""

    id: int
    user: User | None
    screen: str
    begun_at: datetime


#: What people do, as the list of all that was written calls it.
_SIGNED_IN, _OFFERED, _PAIRED = mark("signed in"), mark("pairing offered"), mark("screen paired")


def _now() -> int:
    return micros(datetime.now(UTC))


def _user(row: Row[Any]) -> User:
    return User(row.id, row.name, tuple(filter(None, row.rights.split(","))), row.password)


class Accounts:
    """The journal's tables of people, sessions and pairings; each change is in the audit table.

    Parameters
    ----------
    journal : Journal
        Open.
    written : callable, optional
        Called after each change.
    """

    def __init__(self, journal: Journal, after_write: Callable[[], None] | None = None) -> None:
        self._journal, self._written = journal, after_write

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._journal.writing() as connection:
            yield connection
        if self._written is not None:
            self._written()

    # -- people ------------------------------------------------------------------------------------

    def users(self) -> list[User]:
        """Everybody, by name."""
        with self._journal.reading() as connection:
            return [_user(row) for row in connection.execute(select(users).order_by(users.c.name))]

    def user(self, name: str) -> User | None:
        """The person of this name, however it is written in capitals; databases know those of English letters alone."""
        same = [user for user in self.users() if user.name.casefold() == name.casefold()]
        return next((user for user in same if user.name == name), same[0] if same else None)

    def add_user(self, name: str, rights: Sequence[str], password: str) -> None:
        """Add a person; `password` is its hash."""
        row = {"name": name, "rights": ",".join(rights), "password": password, "added_at": _now()}
        if self.user(name) is not None:
            raise AskError(Fault(tr("there is a user '{name}' already", name=name), "name"))
        with self._writing() as connection:
            connection.execute(insert(users), row)
            write_entry(connection, mark("user added"), name, None, {"rights": list(rights)})

    def remove_user(self, user: User) -> None:
        """Remove a person, signed out everywhere."""
        with self._writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.user == user.id))
            connection.execute(delete(users).where(users.c.id == user.id))
            write_entry(connection, mark("user removed"), user.name, {"rights": list(user.rights)})

    def set_password(self, user: User, password: str, keep: int | None = None) -> None:
        """Change a password, a hash; the person is signed out everywhere but in the session `keep`."""
        with self._writing() as connection:
            connection.execute(update(users).where(users.c.id == user.id).values(password=password))
            connection.execute(_sessions_of(user, keep))
            write_entry(connection, mark("password changed"), user.name)

    def set_rights(self, user: User, rights: Sequence[str]) -> None:
        """Change what a person may do, from the next request on."""
        with self._writing() as connection:
            connection.execute(update(users).where(users.c.id == user.id).values(rights=",".join(rights)))
            before, after = {"rights": list(user.rights)}, {"rights": list(rights)}
            write_entry(connection, mark("rights changed"), user.name, before, after)

    # -- signed-in browsers ------------------------------------------------------------------------

    def begin_session(self, mark: str, user: User, lasting: timedelta) -> None:
        """Sign a person in; `mark` is the hash of what the browser holds."""
        with self._writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.ends_at < _now()))
            connection.execute(insert(sessions), _session(mark, user.id, "", lasting))
            write_entry(connection, _SIGNED_IN, user.name)

    def session(self, mark: str) -> Session | None:
        """The session of this mark that has not ended."""
        joined = select(sessions.c.id, sessions.c.user, sessions.c.screen, sessions.c.begun_at).where(
            sessions.c.mark == mark, sessions.c.ends_at > _now()
        )
        with self._journal.reading() as connection:
            row = connection.execute(joined).first()
            if row is None:
                return None
            begun_at = datetime.fromtimestamp(row.begun_at / 1e6, UTC)
            if row.user is None:
                return Session(row.id, None, row.screen, begun_at)
            person = connection.execute(select(users).where(users.c.id == row.user)).first()
        return None if person is None else Session(row.id, _user(person), "", begun_at)

    def end_session(self, session: Session) -> None:
        """Sign one browser out."""
        with self._writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.id == session.id))
            write_entry(connection, mark("signed out"), session.user.name if session.user else session.screen)

    def end_sessions(self, user: User) -> None:
        """Sign a person out everywhere."""
        with self._writing() as connection:
            connection.execute(_sessions_of(user, None))
            write_entry(connection, mark("signed out everywhere"), user.name)

    # -- screens -----------------------------------------------------------------------------------

    def offer_pairing(self, mark: str, screen: str, lasting: timedelta) -> None:
        """Keep a code's hash, by which one screen may be paired."""
        row = {"mark": mark, "screen": screen, "ends_at": _now() + lasting // timedelta(microseconds=1)}
        with self._writing() as connection:
            connection.execute(delete(pairings).where(pairings.c.ends_at < _now()))
            connection.execute(insert(pairings), row)
            write_entry(connection, _OFFERED, screen)

    def pair(self, code_mark: str, mark: str, lasting: timedelta) -> bool:
        """Pair the browser that brings this code; False where the code is not known, used or too old."""
        with self._writing() as connection:
            row = connection.execute(select(pairings).where(pairings.c.mark == code_mark)).first()
            deleted_rows = connection.execute(delete(pairings).where(pairings.c.mark == code_mark)).rowcount
            if row is None or deleted_rows != 1 or row.ends_at < _now():
                return False
            connection.execute(insert(sessions), _session(mark, None, row.screen, lasting))
            write_entry(connection, _PAIRED, row.screen)
        return True

    def screens(self) -> pl.DataFrame:
        """Give the paired screens as SCREENS, by name."""
        columns = [sessions.c[name] for name in SCREENS]
        query = select(*columns).where(sessions.c.user.is_(None), sessions.c.ends_at > _now())
        with self._journal.reading() as connection:
            return fetch(connection, query.order_by(sessions.c.screen, sessions.c.id), SCREENS)

    def revoke_screen(self, session: int) -> None:
        """Unpair a screen."""
        with self._writing() as connection:
            this = (sessions.c.id == session) & sessions.c.user.is_(None)
            row = connection.execute(select(sessions).where(this)).first()
            if row is None:
                raise AskError(Fault(tr("there is no such screen"), "screen"))
            connection.execute(delete(sessions).where(this))
            write_entry(connection, mark("screen revoked"), row.screen)

    # -- what was written --------------------------------------------------------------------------

    def note_event(
        self, action: str, about: str, before: Mapping[str, Any] | None = None, after: Mapping[str, Any] | None = None
    ) -> None:
        """Write something that changes no table, such as a refused sign-in."""
        with self._writing() as connection:
            write_entry(connection, action, about, before, after)

    def entries(self, most: int) -> pl.DataFrame:
        """Give the last entries of the audit table as AUDIT, newest first."""
        with self._journal.reading() as connection:
            return entries(connection, most)


def _sessions_of(user: User, keep: int | None) -> Any:
    every = delete(sessions).where(sessions.c.user == user.id)
    return every if keep is None else every.where(sessions.c.id != keep)


def _session(mark: str, user: int | None, screen: str, lasting: timedelta) -> dict[str, Any]:
    now = _now()
    ends = now + lasting // timedelta(microseconds=1)
    return {"mark": mark, "user": user, "screen": screen, "begun_at": now, "ends_at": ends}
