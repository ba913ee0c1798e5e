"""Digests by which the journal checks itself: of all rows of each intake that is in, and of all intakes together."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from lineview.store.tables import digests, extents, files, intakes, of_kind, works

#: Tables with rows of intakes, in the order in which they are digested.
OF_INTAKES: tuple[Table, ...] = (extents, *of_kind.values(), files)
_UNSEEN = ("id", "cleared")


def _columns(table: Table) -> list[Any]:
    return [column for column in table.c if column.name not in _UNSEEN]


def digests_of(connection: Connection, ids: Sequence[int] | None = None) -> dict[int, str]:
    """The digest of each intake's rows, of all intakes or of these, worked out from the rows."""
    sums: dict[int, Any] = {}
    for table in OF_INTAKES:
        query = select(*_columns(table)).order_by(table.c.intake, table.c.id)
        place = [column.name for column in _columns(table)].index("intake")
        for row in connection.execute(query if ids is None else query.where(table.c.intake.in_(ids))):
            values = tuple(row)
            digest = sums.get(values[place])
            if digest is None:
                digest = sums[values[place]] = sha256()
            digest.update(f"{table.name}{values}".encode())
    return {intake: digest.hexdigest() for intake, digest in sums.items()}


def _total_digest(connection: Connection, each: dict[int, str]) -> str:
    """The digest of what the journal holds of all intakes that are in or were undone."""
    there = intakes.c.state.in_(("done", "undone"))
    query = select(intakes.c.id, *_columns(intakes)).where(there).order_by(intakes.c.id)
    rows = connection.execute(query).fetchall()  # row by row takes twice as long, at each intake over all of them
    return sha256("".join([f"{tuple(row)}{each.get(row[0], '')}" for row in rows]).encode()).hexdigest()


def _stored_digests(connection: Connection) -> dict[int, str]:
    rows = connection.execute(select(digests.c.intake, digests.c.digest)).fetchall()
    return {int(intake): str(digest) for intake, digest in rows}


def renew(connection: Connection, ids: Sequence[int]) -> None:
    """Keep new digests after the rows or the state of these intakes have changed."""
    connection.execute(delete(digests).where(digests.c.intake.in_(ids)))
    done = list(
        connection.execute(select(intakes.c.id).where(intakes.c.id.in_(ids), intakes.c.state == "done")).scalars()
    )
    if done:
        now = digests_of(connection, done)
        connection.execute(insert(digests), [{"intake": intake, "digest": now.get(intake, "")} for intake in done])
    connection.execute(update(works).values(digest=_total_digest(connection, _stored_digests(connection))))


def is_sound(connection: Connection) -> bool:
    """Whether all that the journal says of intakes is as it was written."""
    stored = _stored_digests(connection)
    done = set(connection.execute(select(intakes.c.id).where(intakes.c.state == "done")).scalars())
    now = {intake: digest for intake, digest in digests_of(connection).items() if intake in done}
    same = {number: stored.get(number, "") for number in done} == {
        number: now.get(number, "") for number in done
    } and set(stored) == done
    stored_total = connection.execute(select(works.c.digest)).scalar()
    return same and stored_total == _total_digest(connection, stored)
