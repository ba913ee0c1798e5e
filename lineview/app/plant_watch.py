"""plant.toml and layouts.toml as they stand in their files now."""

from __future__ import annotations

from pathlib import Path
from threading import Lock

from lineview.core.errors import Fault, PlantError
from lineview.core.language import speak, tr
from lineview.plant import Plant
from lineview.plant.read import language_in, read_plant

#: What differs between two states of a file: its time [ns] and size [bytes]; None where there is no file.
FileState = tuple[int, int] | None
PlantState = tuple[FileState, FileState]


class PlantWatch:
    """plant.toml and layouts.toml of a works folder.

    `folder`: the works folder.

    After an edit that is wrong there is no plant description, only the error: nobody is answered from one that no
    longer stands in the file.
    """

    def __init__(self, folder: Path) -> None:
        self._description = folder / "plant.toml"
        self._layouts = folder / "layouts.toml"
        self._lock = Lock()
        self._state: PlantState | None = None
        self._plant: Plant | None = None
        self._error: PlantError | None = None
        if self._description.exists():
            speak(language_in(self._description))  # a question is read, and refused, before the plant is

    def state(self) -> PlantState:
        """A mark of the files as they are now; it does not read them."""
        return _state(self._description), _state(self._layouts)

    def current(self) -> tuple[Plant, PlantState]:
        """The plant description as it stands in the files now, and their mark; its language is spoken from now on."""
        with self._lock:
            state = self.state()  # before reading: an edit made meanwhile is seen the next time
            if state != self._state:
                self._read(state[0] is not None)
                self._state = state
            if self._plant is None:
                raise PlantError(self._error.faults if self._error else ())
            speak(self._plant.language)
            return self._plant, state

    def _read(self, there: bool) -> None:
        self._plant, self._error = None, None
        try:
            if not there:
                do = tr("Set the works up from its exports with 'lineview setup EXPORTS', or on the board.")
                raise PlantError(Fault(tr("there is no plant description"), str(self._description), "plant.toml", do))
            speak(language_in(self._description))  # so that faults are written in it
            self._plant = read_plant(self._description, self._layouts)
        except PlantError as error:
            self._error = error


def _state(path: Path) -> FileState:
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_size
