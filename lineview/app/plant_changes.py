"""Changes of plant.toml through the board: each checked, dated, with who made it, and undoable."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock

from lineview.core.errors import AskError, Fault, PlantError
from lineview.core.language import tr
from lineview.plant.edit import WORKS, Edit, apply_edit, edit_for, removal_of
from lineview.plant.forms import FORMS, GROWING, PART_NAMES, toml_of, words_of
from lineview.plant.read import check_text
from lineview.report.show import sentence_list
from lineview.store.files import write_file

#: Beside plant.toml: one line of JSON a change.
CHANGES = "plant-changes.jsonl"
#: Letters of a name or key that a form may bring.
LONGEST = 200


@dataclass(frozen=True)
class PlantChange:
    """One change as it was made; `undoes` is the number of the one that it takes back."""

    number: int
    at: datetime
    who: str
    edit: Edit
    undoes: int | None = None

    @property
    def words(self) -> str:
        """What changed, in a sentence."""
        edit, name = self.edit, f"{tr(PART_NAMES.get(self.edit.table, self.edit.table))} {self.edit.id}".strip()
        if edit.after is None:
            return tr("{part} removed", part=name)
        fields = {field.key: field for field in FORMS.get(edit.table, ())}
        if edit.before is None:
            return tr("{part} added", part=name)
        pairs = []
        for key, after in edit.after.items():
            field, before = fields.get(key), edit.before[key]
            label = tr(field.label if field else key)
            label = label if field and field.kind == "number" else label.partition(",")[0]  # without its example
            pairs.append(f"{label} {words_of(field, before)} → {words_of(field, after)}")
        return f"{name}: {', '.join(pairs)}"


class PlantEditor:
    """Changes the plant.toml of a works folder.

    Parameters
    ----------
    folder : pathlib.Path
        The works folder.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / "plant.toml"
        self._log = folder / CHANGES
        self._lock = Lock()

    def changes(self) -> list[PlantChange]:
        """Every change made so far, the oldest first."""
        lines = self._log.read_bytes().splitlines() if self._log.exists() else []
        return [_read(line, f"{self._log.name}, line {at}") for at, line in enumerate(lines, 1) if line.strip()]

    def change(
        self, table: str, part: str, texts: Mapping[str, str], who: str, adds: bool = False
    ) -> PlantChange | None:
        """Change a part to what a person wrote in its fields, or add it.

        Parameters
        ----------
        table, part : str
            Which.
        texts : mapping of str to str
            By key, as written; other keys stay as they are.
        who : str
            Who changes it.
        adds : bool
            Whether it is meant to be new: one that is there and differs is not changed.

        Returns
        -------
        PlantChange or None
            None where nothing differs.

        Raises
        ------
        AskError
            For every field that cannot be read, and for a name that is missing.
        PlantError
            Where the description would be wrong with it; nothing is written.
        """
        values: dict[str, str] = {}
        faults: list[Fault] = []
        for field in FORMS.get(table, ()):
            if field.key in texts:
                try:
                    values[field.key] = toml_of(field, texts[field.key], f"{tr(PART_NAMES[table])} {part}".strip())
                except AskError as error:
                    faults += error.faults
        if (not part.strip() and table != WORKS) or len(part) > LONGEST:
            faults.append(
                Fault(tr("the short name is missing"), tr(PART_NAMES.get(table, table)), tr("letters and digits"))
            )
        if faults:
            raise AskError(faults)
        with self._lock:
            text = self._text()
            edit = edit_for(text, table, part.strip(), values)
            if adds and edit.before:
                what = tr("there is a {kind} '{part}' already", kind=tr(PART_NAMES[table]), part=part.strip())
                raise AskError(Fault(what, do=tr("Choose another short name, or change that one.")))
            return self._write(text, edit, who)

    def remove(self, table: str, part: str, who: str) -> PlantChange | None:
        """Remove a part of a table that grows in forms; raises as `change` does."""
        if table not in GROWING:
            raise AskError(Fault(tr("{table} are removed in the file by hand", table=table), "plant.toml"))
        with self._lock:
            text = self._text()
            edit = removal_of(text, table, part)
            rows = tomllib.loads(text).get("products", []) if table == "webs" else []
            if users := [str(row.get("flavour", row.get("id"))) for row in rows if part in row.get("webs", [])]:
                what = tr("'{part}' is a web of {products}", part=part, products=sentence_list(users))
                raise AskError(Fault(what, do=tr("Take it out of the webs of these products first.")))
            return self._write(text, edit, who)

    def undo(self, number: int, who: str) -> PlantChange | None:
        """Take a change back where the file still says what it made of it; raises as `change` does."""
        with self._lock:
            changes = self.changes()
            change = next((c for c in changes if c.number == number), None)
            if change is None or any(c.undoes == number for c in changes):
                raise AskError(Fault(tr("there is no change {number} to undo", number=number), "plant.toml"))
            return self._write(self._text(), change.edit.undone, who, number)

    def _text(self) -> str:
        try:
            return self._path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
        except (OSError, UnicodeDecodeError):
            raise PlantError(Fault(tr("plant.toml cannot be read"), str(self._path), tr("a file in UTF-8"))) from None

    def _write(self, text: str, edit: Edit, who: str, undoes: int | None = None) -> PlantChange | None:
        """Check and write a change, and note it; nothing is written where it is wrong."""
        if edit.before == edit.after:
            return None
        if not who.strip():
            raise AskError(Fault(tr("your name is missing"), "who", tr("who makes this change")))
        fresh = apply_edit(text, edit)
        faults = check_text(fresh)
        if faults:
            raise PlantError(faults)
        change = PlantChange(len(self.changes()) + 1, datetime.now(UTC), who.strip()[:LONGEST], edit, undoes)
        log_text = (self._log.read_text(encoding="utf-8") if self._log.exists() else "") + _line(change)
        write_file(self._path, lambda part: part.write_text(fresh, encoding="utf-8", newline="\n"))
        write_file(self._log, lambda part: part.write_text(log_text, encoding="utf-8", newline="\n"))
        return change


def _line(change: PlantChange) -> str:
    head = {"number": change.number, "at": change.at.isoformat(timespec="seconds"), "who": change.who}
    return json.dumps({**head, "edit": asdict(change.edit), "undoes": change.undoes}, ensure_ascii=False) + "\n"


def _read(line: bytes, where: str) -> PlantChange:
    try:
        row = json.loads(line)
        at, undoes = datetime.fromisoformat(row["at"]), row.get("undoes")
        return PlantChange(int(row["number"]), at, row["who"], Edit(**row["edit"]), undoes)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        advice = tr("Mend the line, or move the file away: plant.toml itself is not touched by it")
        raise PlantError(
            Fault(tr("a change of plant.toml cannot be read"), where, tr("a line as it was written"), advice)
        ) from error
