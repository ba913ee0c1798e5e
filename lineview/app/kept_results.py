"""Results that are kept: the latest by key, each worked out once, and as bytes for a file."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import Future
from dataclasses import fields, is_dataclass
from datetime import datetime
from functools import cache
from io import BytesIO
from threading import Lock
from types import UnionType
from typing import TYPE_CHECKING, Any, Generic, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np
import polars as pl

from lineview.plant import Machine, Plant

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T")


class KeptResults(Generic[T]):
    """The latest results by key, at most so many and so many bytes; those asked longest ago go first.

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

    def replace(self, key: Hashable, result: T) -> None:
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


def pack(value: object) -> bytes:
    """A value of dataclasses, frames and arrays as bytes; machines are kept by their ids.

    Raises
    ------
    TypeError
        For what `unpack` would not give back as it was.
    """
    frames: list[bytes] = []
    tree = json.dumps(_tree(value, frames)).encode()
    lengths = json.dumps([len(tree), *map(len, frames)]).encode()
    return b"".join((lengths, b"\n", tree, *frames))


def _tree(value: object, frames: list[bytes]) -> Any:
    """A value as JSON; frames and arrays by their place in `frames`."""
    if isinstance(value, np.ndarray):
        value = pl.DataFrame({"": value})
    if isinstance(value, pl.DataFrame):
        body = BytesIO()
        value.write_ipc_stream(body, compression="zstd")
        frames.append(body.getvalue())
        return len(frames) - 1
    if is_dataclass(value):
        value = [getattr(value, part.name) for part in fields(value)]
    if isinstance(value, list | tuple):
        return [_tree(part, frames) for part in value]
    if isinstance(value, Mapping):
        return {name: _tree(part, frames) for name, part in value.items()}
    return _plain(value)


def _plain(value: object) -> str | bool | int | float | None:
    """A single value as JSON has it."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Machine):
        return value.id
    if isinstance(value, np.integer):
        return int(value)
    raise TypeError(type(value))


def unpack(of: Any, body: bytes, plant: Plant) -> Any:
    """The value of a type that `pack` made bytes of, with the machines of a plant.

    Parameters
    ----------
    of : type
        Of the whole; the types of its parts are those that its dataclasses state.
    body : bytes
        From `pack`.
    plant : Plant
        Its machines.
    """
    head, _, rest = body.partition(b"\n")
    tree_length, *lengths = json.loads(head)
    frames, start = [], tree_length
    for length in lengths:
        frames.append(rest[start : start + length])
        start += length
    return _Unpacking(plant, frames).value(of, json.loads(rest[:tree_length]))


class _Unpacking:
    """Gives values back by their types."""

    def __init__(self, plant: Plant, frames: list[bytes]) -> None:
        self._plant, self._frames = plant, frames

    def value(self, of: Any, tree: Any) -> Any:
        """The value of a type."""
        if tree is None or of in (str, bool, int, float, Any):
            return tree
        if of is datetime:
            return datetime.fromisoformat(tree)
        if of is Machine:
            return next(machine for machine in self._plant.machines if machine.id == tree)
        if of is pl.DataFrame:
            return pl.read_ipc_stream(self._frames[tree])
        if isinstance(of, type) and is_dataclass(of):
            parts = zip(_types(of), tree, strict=True)
            return of(**{name: self.value(part, inner) for (name, part), inner in parts})
        return self._of_parts(of, get_origin(of), get_args(of), tree)

    def _of_parts(self, of: Any, origin: Any, parts: tuple[Any, ...], tree: Any) -> Any:
        if origin in (Union, UnionType):
            return self.value(next(part for part in parts if part is not type(None)), tree)
        if origin is np.ndarray or of is np.ndarray:
            return pl.read_ipc_stream(self._frames[tree]).to_series().to_numpy()
        if origin is tuple:
            types = (parts[0],) * len(tree) if parts[-1] is ... else parts
            return tuple(self.value(part, inner) for part, inner in zip(types, tree, strict=True))
        if origin is list:
            return [self.value(parts[0], inner) for inner in tree]
        if isinstance(tree, dict):
            return {name: self.value(parts[1], inner) for name, inner in tree.items()}
        return tree  # one of the words of a Literal


@cache
def _types(of: type[DataclassInstance]) -> list[tuple[str, Any]]:
    hints = get_type_hints(of)
    return [(part.name, hints[part.name]) for part in fields(of)]
