"""Who wrote what when: an entry goes into the journal within the transaction of the write itself."""

from __future__ import annotations

import getpass
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import polars as pl
from sqlalchemy import Connection, insert, select

from lineview.core.frames import UTC_US
from lineview.store.frames import fetch, micros
from lineview.store.tables import audit

AUDIT = {
    "at": UTC_US,
    "who": pl.String(),
    "address": pl.String(),
    "action": pl.String(),
    "about": pl.String(),
    "before": pl.String(),
    "after": pl.String(),
}


@dataclass(frozen=True)
class Actor:
    """Who is at work: a name, and the network address or "" on this machine."""

    name: str
    address: str = ""


_actor: ContextVar[Actor | None] = ContextVar("actor", default=None)


def _account() -> Actor:
    """The account of the operating system, which a command writes as."""
    try:
        return Actor(getpass.getuser())
    except (KeyError, OSError):  # an account without a name
        return Actor("this machine")


@contextmanager
def acting(name: str, address: str = "") -> Iterator[None]:
    """Let every write in the context be this person's.

    Parameters
    ----------
    name : str
        Of the person.
    address : str
        Of the person's machine; "" for this one.
    """
    token = _actor.set(Actor(name, address))
    try:
        yield
    finally:
        _actor.reset(token)


def become(name: str, address: str = "") -> None:
    """Let every later write of this thread be this person's; "" is the account of the operating system.

    Parameters
    ----------
    name : str
        Of the person.
    address : str
        Of the person's machine; "" for this one.
    """
    _actor.set(Actor(name, address) if name else None)


def actor_now() -> Actor:
    """Who is at work."""
    return _actor.get() or _account()


def write_entry(
    connection: Connection,
    action: str,
    about: str,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> None:
    """Write who does this now, in the transaction of the connection."""
    actor = actor_now()
    row = {
        "at": micros(datetime.now(UTC)),
        "who": actor.name[:80],
        "address": actor.address[:64],
        "action": action,
        "about": about,
        "before": _text(before),
        "after": _text(after),
    }
    connection.execute(insert(audit), row)


def _text(details: Mapping[str, Any] | None) -> str:
    return "" if details is None else json.dumps(dict(details), ensure_ascii=False, default=str)


def entries(connection: Connection, most: int) -> pl.DataFrame:
    """Give the last entries as AUDIT, newest first."""
    columns = [audit.c[name] for name in AUDIT]
    return fetch(connection, select(*columns).order_by(audit.c.id.desc()).limit(most), AUDIT)
