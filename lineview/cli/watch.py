"""Watching a folder, and the sheets written meanwhile: when a shift, a day or a week is over."""

from __future__ import annotations

import time
from hashlib import sha256
from pathlib import Path
from threading import Thread

from lineview.app.due_sheets import due_sheets, read_sheet_choice, write_whole
from lineview.app.watch import Watch
from lineview.app.works import Works
from lineview.cli.answers import FORMS, sheet_bytes
from lineview.cli.console import say
from lineview.core.errors import AskError, Fault, IntakeError, LineviewError
from lineview.core.language import tr
from lineview.core.names import readable
from lineview.report.answer import to_json


class SheetWriter:
    """Writes each sheet that is due once, whole or not at all, and again where its content has changed.

    An AskError where a question or a form ("pdf", "xlsx" or "csv") is unknown.
    """

    def __init__(self, folder: Path, questions: list[str], forms: list[str]) -> None:
        self._folder = folder
        self._questions = read_sheet_choice(questions)
        unknown = [form for form in forms if f".{form}" not in FORMS]
        if unknown:
            endings = ", ".join(ending.removeprefix(".") for ending in FORMS)
            raise AskError(
                [
                    Fault(
                        tr("'{form}' is not a kind of sheet", form=form),
                        "--as",
                        tr("one of {choices}", choices=endings),
                    )
                    for form in unknown
                ]
            )
        self._endings = [f".{form}" for form in forms]
        self._version = ""
        self._written: dict[str, str] = {}

    def write(self, works: Works) -> list[Path]:
        """Write what is due; nothing where no data came since the last time."""
        version = works.version()
        span = works.span()
        if span is None or version == self._version:
            return []
        self._version = version
        paths: list[Path] = []
        for due in due_sheets(works.plant, span, self._questions):
            try:
                answer = works.ask(due.question)
                content = sha256(to_json(answer, indent=None).encode()).hexdigest()
                for ending in self._endings:
                    path = self._folder / f"{due.name}{ending}"
                    if path.exists() and self._written.get(path.name, content) == content:
                        self._written[path.name] = content
                        continue
                    write_whole(path, sheet_bytes(answer, works.plant, ending))
                    self._written[path.name] = content
                    paths.append(path)
                    say(tr("Wrote {file}", file=path))
            except (LineviewError, OSError) as error:
                say(f"{due.name}: {error}")
        return paths


def watch_folder(
    works: Works, folder: Path, every_s: float, looks: int, port: int | None, writer: SheetWriter | None = None
) -> None:
    """Look into a folder again and again, and take in what is new and has stopped growing; write sheets due then."""
    if not folder.is_dir():
        raise IntakeError(Fault(tr("not a folder"), str(folder), tr("a folder that exports arrive in")))
    if port is not None:
        from lineview.board.serve import Serving, serve

        Thread(target=serve, args=(works, Serving("127.0.0.1", port)), daemon=True).start()

    say(tr("Watching {folder}; stop with Ctrl-C.", folder=readable(str(folder))))
    watch = Watch(works, folder, say)
    count = 0
    try:
        while looks == 0 or count < looks:
            watch.look()
            if writer is not None:
                writer.write(works)
            count += 1
            if looks == 0 or count < looks:
                time.sleep(every_s)
    except KeyboardInterrupt:
        say(tr("Stopped watching."))
