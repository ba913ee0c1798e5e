"""Moments between datetimes with a zone and whole microseconds since 1970 [UTC]."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from lineview.errors import AskError, Fault

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def micros(moment: datetime) -> int:
    """Give a moment as microseconds since 1970 [UTC].

    Raises
    ------
    AskError
        Where the moment has no zone.

    Examples
    --------
    >>> micros(datetime(1970, 1, 1, 0, 0, 1, tzinfo=UTC))
    1000000
    """
    if moment.tzinfo is None:
        raise AskError(Fault(f"the moment {moment} has no zone", "", "a moment with its zone"))
    return (moment - _EPOCH) // _MICROSECOND


def moment(micros: int) -> datetime:
    """Give microseconds since 1970 as a moment [UTC]."""
    return _EPOCH + micros * _MICROSECOND
