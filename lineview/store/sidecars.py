"""Beside each original: what was taken in of it, so that the journal can be made anew from the folder alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.store.files import sealed, unsealed, write_file

#: The file with the id of the works.
WORKS = "works.id"
_FACTS = "id file sha256 attempt size_bytes taken_at layouts rows kept duplicate refused uncertain"
#: What is kept of an intake's row in the journal.
FACTS = tuple(_FACTS.split())


class Sidecars:
    """The files beside the originals, and the plant descriptions by which those were read."""

    def __init__(self, store: Path) -> None:
        self._store = store
        self._originals = store / "originals"
        self._plants = store / "plants"
        self._description = ""

    def path(self, original: str) -> Path:
        """Where the sidecar of an original of this SHA-256 stands, or would."""
        return self._originals / original[:2] / f"{original[2:]}.json"

    def describe(self, plant: str) -> None:
        """Keep the plant description, as JSON, by which the next exports are read."""
        name = sha256(plant.encode()).hexdigest()
        if name != self._description:
            path = self._plants / f"{name}.json"
            if not path.exists():
                write_file(path, lambda part: part.write_text(plant, encoding="utf-8"))
            self._description = name

    def description(self, name: str) -> str | None:
        """A plant description that was kept, or None where it is not as it was written."""
        try:
            text = (self._plants / f"{name}.json").read_text(encoding="utf-8")
        except (OSError, ValueError):
            return None
        return text if sha256(text.encode()).hexdigest() == name else None

    def of(self, original: str) -> dict[str, Any] | None:
        """What the journal holds of an original: "works", and its "intakes" by id; None where it cannot be read."""
        body: dict[str, Any] | None = unsealed(self.path(original))
        return body

    def expected(self, row: Any, state: str) -> dict[str, Any]:
        """What a sidecar says of an intake, but the plant description."""
        facts: Mapping[str, Any] = row._mapping
        return {**{name: facts[name] for name in FACTS}, "state": state}

    def keep(self, row: Any, state: str) -> None:
        """Say that an intake is in ("done") or was undone."""
        there = self.of(row.sha256)
        if there is None:
            there = {"works": (self._store / WORKS).read_text(encoding="ascii").strip(), "intakes": {}}
        before = there["intakes"].get(str(row.id), {})
        plant = before.get("plant") or self._description
        there["intakes"][str(row.id)] = {**self.expected(row, state), "plant": plant}
        self._write(row.sha256, there)

    def drop(self, row: Any) -> None:
        """Say nothing of an intake that came to nothing."""
        there = self.of(row.sha256)
        if there is not None and there["intakes"].pop(str(row.id), None) is not None:
            self._write(row.sha256, there)

    def _write(self, original: str, body: dict[str, Any]) -> None:
        text = sealed(body)
        write_file(self.path(original), lambda part: part.write_text(text, encoding="utf-8"))

    def paths(self) -> Iterator[Path]:
        """Every sidecar that is there."""
        yield from sorted(self._originals.glob("??/*.json"))


def works_of(store: Path, journal_works: str | None, *, own_journal: bool, former: bool = False) -> str | None:
    """The id of the works that a store's folder is of; None where it has none yet.

    `own_journal` says whether the journal stands in the folder; `former` whether one without an id is of a former
    version and of these exports: a process that was killed may have written sidecars before the journal got its id.
    Raises `StoreError` where folder and journal are of two different works, or the journal is an empty one.
    """
    path = store / WORKS
    here = path.read_text(encoding="ascii", errors="replace").strip() if path.exists() else None
    if journal_works is not None and here == journal_works:
        return here
    sidecars = (store / "originals").glob("??/*.json")
    sidecar_id = next((str(body["works"]) for body in map(unsealed, sidecars) if body), None)
    if journal_works is None and (sidecar_id is None or former):
        return here
    if journal_works is None:
        what = tr("the journal is empty, and exports were taken in here before")
        do = tr("Name the journal of this works, or make it anew from the exports: lineview doctor --repair")
        raise StoreError(Fault(what, str(store), tr("the journal of this works"), do))
    if here is None and (own_journal or sidecar_id == journal_works):
        return journal_works
    what = tr("the journal is of another works than this folder")
    do = tr("Please give the journal of this store; where its file was damaged: lineview doctor --repair")
    raise StoreError(Fault(what, str(path), tr("the works {works}", works=journal_works), do))
