"""Ask one works for its weeks in one process and print the seconds of processor of each, a line of JSON each.

    PYTHONPATH=CHECKOUT python week_in_process.py WORKS WEEK OTHER THIRD

"first" is WEEK in a process that has imported what the board's have and asked nothing, "again" the same after something
of a later day was written, as an export does, "other" another week after that, and "unkept" a third, of which nothing
is kept. What is written is a stop's reason, undone at the end.
"""

import json
import sys
import time
from contextlib import suppress
from datetime import timedelta
from importlib import import_module
from pathlib import Path
from shutil import rmtree

from lineview.app.question import machines_asked, read_question
from lineview.app.works import Works
from lineview.board.processes import SHARED


def main() -> None:
    folder, week, other, third = sys.argv[1:]
    for module in SHARED:
        with suppress(ImportError):  # an earlier checkout may lack one
            import_module(module)
    with Works(Path(folder)) as works:
        machines, end = machines_asked(works.plant, "week"), works.last_reading()
        if end is None:
            raise SystemExit("nothing was read")
        marks = []
        for name, period in [("first", week), *[("again", week)] * 4, ("other", other), ("unkept", third)]:
            if name == "again":
                stop = (end + timedelta(minutes=len(marks)), end + timedelta(minutes=len(marks), seconds=9))
                marks.append(works.set_stop_reasons(machines[len(marks) % len(machines)].id, [stop], "no staff"))
            if name == "unkept":
                rmtree(Path(folder) / "store" / "weeks", ignore_errors=True)
            before = time.process_time()
            answer = works.ask(read_question("week", period=period))
            print(
                json.dumps({"asked": name, "cpu_s": time.process_time() - before, "sentence": answer.text}), flush=True
            )
        for mark in marks:
            works.undo_stop_reasons(mark)


if __name__ == "__main__":
    main()
