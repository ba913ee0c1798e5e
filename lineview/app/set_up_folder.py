"""A works folder that is being set up: exports looked at, answers gathered, plant.toml written."""

from __future__ import annotations

import difflib
import os
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path, PurePosixPath
from zoneinfo import available_timezones

from lineview.app.setup import SetUp, set_up
from lineview.app.setup_layouts import Surveyed, survey_folder
from lineview.app.take_in import IntakeResult
from lineview.app.works import Works
from lineview.core.errors import AskError, Fault
from lineview.core.language import languages, speak, spoken, tr
from lineview.intake.find import ENDINGS
from lineview.store.files import make_folder, write_file

#: Signs of an answer, which may hold all lines or shifts of a works.
MOST_LETTERS = 4_000
#: Where a suggestion goes while there is a plant.toml: that one is never changed by setting up.
SUGGESTED = "plant.suggested.toml"


def computer_zone() -> str:
    """The time zone of this computer as area and city, "" where it does not say.

    Returns
    -------
    str
        Such as "Europe/Berlin".
    """
    variable = os.environ.get("TZ", "").lstrip(":")
    if variable in available_timezones() and "/" in variable:
        return variable
    link = Path("/etc/localtime")
    if link.is_symlink():
        area = str(link.resolve()).partition("zoneinfo/")[2]
        if area in available_timezones() and "/" in area and not area.startswith("Etc/"):
            return area
    key = getattr(datetime.now().astimezone().tzinfo, "key", "")
    return str(key) if key in available_timezones() else ""


class SetUpDesk:
    """A works folder that is being set up.

    Parameters
    ----------
    folder : pathlib.Path
        The works folder; it may be empty or have a plant.toml already.
    here : str
        The time zone to suggest.

    Notes
    -----
    `language` is the one that was chosen for the works, "" while none was.
    """

    def __init__(self, folder: Path, here: str) -> None:
        self.folder = folder
        self.here = here
        self.paths: list[Path] = []
        self.answers: dict[str, str] = {}
        self.language = ""
        self._surveyed: Surveyed | None = None

    @property
    def described(self) -> bool:
        """Whether there is a plant.toml already."""
        return (self.folder / "plant.toml").exists()

    @property
    def shop(self) -> str:
        """What the works is called until it is named: its folder's name."""
        return self.folder.resolve().name.replace("_", " ").replace("-", " ").strip().capitalize() or tr("Our works")

    def speak(self, code: str) -> None:
        """Go on in a language; an AskError is raised for one without a catalogue."""
        if code not in languages():
            known = tr("one of {choices}", choices=", ".join(languages()))
            raise AskError(Fault(tr("unknown language '{code}'", code=code[:40]), "language", known))
        changed = code != spoken()
        speak(code)
        if changed and self._surveyed is not None:  # the exports are described again
            self._surveyed = survey_folder(self.paths, self.shop, self.here)

    def look(self, paths: Sequence[Path]) -> None:
        """Look at exports; raises an IntakeError where a path is not there or has none."""
        self._surveyed = survey_folder(paths, self.shop, self.here)
        self.paths, self.answers = list(paths), {}

    def keep_upload(self, name: str, save: Callable[[Path], object]) -> Path | None:
        """Keep an uploaded export, which `save` writes, in the folder exports/; None for a file that is none."""
        plain = name.replace("\\", "/").replace(":", "_")  # no part of a name leads out of the folder
        parts = [part for part in PurePosixPath(plain).parts if part.strip("/. ")]
        if not parts or parts[-1].startswith((".", "~")):
            return None
        if not parts[-1].lower().removesuffix(".gz").endswith(ENDINGS):
            return None
        path = self.folder.joinpath("exports", *parts[1:] if len(parts) > 1 else parts)
        make_folder(path.parent)
        write_file(path, save)
        return path

    def show(self) -> SetUp | None:
        """What the exports show with the answers so far; None before any were looked at."""
        return None if self._surveyed is None else set_up(self._surveyed, self.answers)

    def answer(self, answers: Mapping[str, str]) -> None:
        """Add answers; an empty one takes an earlier one back, and an AskError is raised for one that is too long."""
        faults = [
            Fault(
                tr("the answer has {count:,} signs, or some that nobody sees", count=len(text)),
                key,
                tr("up to {count:,}", count=MOST_LETTERS),
            )
            for key, text in answers.items()
            if len(text) > MOST_LETTERS or not text.replace("\n", " ").strip().isprintable()
        ]
        if faults:
            raise AskError(faults)
        for key, text in answers.items():
            if text.strip():
                self.answers[key] = text.strip()
            else:
                self.answers.pop(key, None)

    def difference(self, text: str) -> list[str]:
        """How the suggestion differs from the plant.toml that is there, line by line."""
        path = self.folder / "plant.toml"
        before = path.read_text(encoding="utf-8-sig").splitlines() if path.exists() else []
        lines = difflib.unified_diff(before, text.splitlines(), "plant.toml", SUGGESTED, lineterm="", n=1)
        return list(lines)

    def write(self) -> Path:
        """Write plant.toml, or plant.suggested.toml where there is one already.

        Returns
        -------
        pathlib.Path
            The file written.

        Raises
        ------
        AskError
            Where questions are open or answers do not fit; nothing is written.
        """
        state = self.show()
        if state is None:
            raise AskError(Fault(tr("no exports were looked at yet"), do=tr("Choose a folder of exports first.")))
        if not state.text:
            faults = [Fault(tr("not answered: {question}", question=q.text), q.key, do=q.why) for q in state.open]
            raise AskError(faults or state.faults)
        path = self.folder / (SUGGESTED if self.described else "plant.toml")
        write_file(path, lambda part: part.write_text(state.text, encoding="utf-8"))
        return path

    def take_in(self, works: Works) -> list[IntakeResult]:
        """Take the exports that were looked at in."""
        return works.take(self.paths)
