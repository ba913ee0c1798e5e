"""The latest results by key, within bounds of number and bytes; each is worked out once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import Future
from dataclasses import is_dataclass
from threading import Lock
from typing import Generic, TypeVar

import polars as pl

T = TypeVar("T")


class KeptResults(Generic[T]):
    """The latest results by key; those asked longest ago go first.

    Parameters
    ----------
    most : int
        Results kept at most.
    most_bytes : int
        Bytes that they may hold together; one larger than that is given and not kept.
    size_bytes : callable
        Gives the bytes that a result holds.

    Notes
    -----
    Nothing is locked while a result is worked out: different keys are worked out at the same time.
    """

    def __init__(self, most: int, most_bytes: int, size_bytes: Callable[[T], int]) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._size_bytes = size_bytes
        self._lock = Lock()
        self._running: dict[Hashable, Future[T]] = {}
        self._kept: OrderedDict[Hashable, tuple[T, int]] = OrderedDict()

    def get(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """The result of a key, working it out where it is neither kept nor under way."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key][0]
            running = self._running.get(key)
            if running is None:
                mine: Future[T] = Future()
                self._running[key] = mine
        if running is not None:
            return running.result()
        try:
            result = work_out()
        except BaseException as error:
            with self._lock:
                del self._running[key]
            mine.set_exception(error)
            raise
        with self._lock:
            del self._running[key]
            self._keep(key, result)
        mine.set_result(result)
        return result

    def known(self, key: Hashable) -> T | None:
        """What is kept under a key, or None."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key][0]

    def put(self, key: Hashable, result: T) -> None:
        """Keep a result in the place of what was kept under its key."""
        with self._lock:
            self._kept.pop(key, None)
            self._keep(key, result)

    def _keep(self, key: Hashable, result: T) -> None:
        self._kept[key] = (result, self._size_bytes(result))
        while self._kept and (len(self._kept) > self._most or self.held_bytes > self._most_bytes):
            self._kept.popitem(last=False)

    @property
    def held_bytes(self) -> int:
        """Bytes that the kept results hold together."""
        return sum(size for _, size in self._kept.values())


def held_bytes(value: object) -> int:
    """The bytes of the frames and arrays within a value; one that several parts share counts for each."""
    if isinstance(value, pl.DataFrame | pl.Series):
        return int(value.estimated_size())
    if isinstance(size := getattr(value, "nbytes", None), int):
        return size
    if is_dataclass(value):  # what was worked out of it since is among them
        value = tuple(vars(value).values())
    elif isinstance(value, Mapping):
        value = tuple(value.values())
    return sum(map(held_bytes, value)) if isinstance(value, list | tuple) else 0
