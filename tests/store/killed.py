"""Processes killed at each of their writes, one after the other, and what each leaves examined by another process.

Every process is a fork of this one, which has imported what they need and has used none of it.
"""

import os
import shutil
import signal
import sys
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine, event, inspect, text
from sqlalchemy.engine import Engine

from lineview.app.accepted import keep_layout
from lineview.core.record_frames import RECORDS
from lineview.plant import ColumnTarget, Layout
from lineview.plant.read import read_plant
from lineview.store import migrations
from lineview.store.doctor import examine
from lineview.store.record_table import RecordTable
from lineview.store.store import Store
from tests.store.made import at
from tests.store.test_crash import counts, whole

NEVER = 1_000_000
#: A process that hangs is ended, and is a failure [s].
LONGEST_S = 120
#: What writes to the disk or changes a name there; a process is killed before it.
CALLS = ("fsync", "replace", "rename", "unlink", "mkdir", "rmdir")
Say = Callable[[str], None]


def watched(before: int, steps: list[int]) -> None:
    """End this process before its nth write: to the disk, to a name, or to the journal."""

    def step() -> None:
        if steps[0] == before:
            os._exit(9)
        steps[0] += 1

    def counting(real: Callable[..., object]) -> Callable[..., object]:
        def call(*args: object, **more: object) -> object:
            step()
            return real(*args, **more)

        return call

    for name in CALLS:
        setattr(os, name, counting(getattr(os, name)))

    @event.listens_for(Engine, "before_cursor_execute")
    def changed(_connection, _cursor, statement, *_rest):
        if not statement.lstrip().startswith(("SELECT", "PRAGMA")):
            step()

    @event.listens_for(Engine, "commit")
    def committed(_connection):
        step()


# -- an intake, a note, an undo ------------------------------------------------------------------------

IN, OUT = (2, 1, 1, 1, 1), (0, 0, 0, 0)


def store_written(folder: Path, say: Say) -> None:
    with Store.open(folder / "store") as store:
        say("opened")
        intake = store.record(whole(folder)).intake
        say("in")
        store.write("adjustment", "wrap1", at(0), "knife changed")
        say("noted")
        store.undo(intake)
        say("undone")
        store.record(whole(folder))
        say("in again")


def store_holds(folder: Path, said: list[str]) -> None:
    with Store.open(folder / "store") as store:
        there = counts(store)
        if "in again" in said:
            assert there[:4] == IN[:4]
        elif "undone" in said:
            assert there[:4] in (OUT, IN[:4])
        elif "noted" in said:
            assert there == IN or there[:4] == OUT
        else:
            assert there == IN if "in" in said else there == IN or there == (*OUT, 0)
        noted = store.adjustments("wrap1", at(-9), at(9)).height
        assert noted == 1 if "noted" in said else noted in ({0, 1} if "in" in said else {0})
    assert examine(folder / "store", None) == []
    with Store.open(folder / "store") as store:
        store.record(whole(folder))
        assert counts(store)[:4] == IN[:4]
    assert examine(folder / "store", None) == []


# -- accepted layouts ----------------------------------------------------------------------------------


def layouts() -> list[Layout]:
    """Layouts that were proposed under one name."""
    columns = [{f"Count {i}": ColumnTarget(to="good")} for i in range(12)]
    return [Layout(id="counter", machine="wrap1", columns=one) for one in columns]


def layouts_written(folder: Path, say: Say) -> None:
    for layout in layouts():
        say(f"kept {keep_layout(folder, layout).id}")


def layouts_hold(folder: Path, said: list[str]) -> None:
    plant, file = folder / "plant.toml", folder / "layouts.toml"
    there = [one.id for one in read_plant(plant, file).layouts]
    assert len(there) - len(said) in (0, 1)
    assert [f"kept {one}" for one in there][: len(said)] == said
    for _ in range(2):
        names = [keep_layout(folder, one).id for one in layouts()]
        assert names == ["counter", *(f"counter-{i + 1}" for i in range(1, len(names)))]
    assert len(read_plant(plant, file).layouts) == len(names)


# -- records -------------------------------------------------------------------------------------------

MONTHS = ("2026-06", "2026-07")


def generation(value: int) -> dict[tuple[str, str], pl.DataFrame]:
    """Records of two months that are replaced in one commit, of one generation."""
    out = {}
    for i, month in enumerate(MONTHS):
        start = datetime(2026, 6 + i, 3, 6, tzinfo=UTC)
        row = {**dict.fromkeys(RECORDS), "machine": "wrap1", "month": month, "start": start, "readings": value}
        out["wrap1", month] = pl.DataFrame([row], schema=RECORDS)
    return out


def records_written(folder: Path, say: Say) -> None:
    table = RecordTable(folder / "records")
    for value in range(1, 13):
        table.replace(generation(value))
        say(str(value))


def records_hold(folder: Path, said: list[str]) -> None:
    table = RecordTable(folder / "records")
    there = table.read("wrap1", MONTHS, ["start", "readings"])["readings"].to_list()
    assert table.losses == 0
    last = int(said[-1]) if said else 0
    assert there in ([last] * 2 if last else [], [last + 1] * 2)
    table.replace(generation(70))
    assert table.read("wrap1", MONTHS, ["start", "readings"])["readings"].to_list() == [70, 70]


# -- a journal of a former form ------------------------------------------------------------------------


def make_former(path: Path, form: str) -> None:
    """Put a journal of a former form in the place of a journal, with all of it that the form has room for."""
    former = create_engine(f"sqlite:///{path.with_name('former.sqlite')}")
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    config.set_main_option("path_separator", "os")
    with former.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, form)
    with former.connect() as connection:
        connection.exec_driver_sql("ATTACH ? AS late", (str(path),))
        for table in inspect(connection).get_table_names():
            if table != "alembic_version":
                names = ", ".join(f'"{one["name"]}"' for one in inspect(connection).get_columns(table))
                connection.execute(text(f"INSERT INTO {table} ({names}) SELECT {names} FROM late.{table}"))
        connection.commit()
    former.dispose()
    path.with_name("former.sqlite").replace(path)
    for beside in ("-wal", "-shm"):
        path.with_name(path.name + beside).unlink(missing_ok=True)


def of_former_form(folder: Path) -> None:
    """A store with an intake and a note, its journal as the version before files were listed made it."""
    with Store.open(folder / "store") as store:
        store.record(whole(folder))
        store.write("adjustment", "wrap1", at(0), "knife changed")
    make_former(folder / "store" / "journal.sqlite", "0002")
    for name in ("works.id", "journal.seal", "entries.json"):
        (folder / "store" / name).unlink(missing_ok=True)
    for sidecar in (folder / "store" / "originals").rglob("*.json"):
        sidecar.unlink()


def migrated(folder: Path, say: Say) -> None:
    Store.open(folder / "store").close()
    say("migrated")


def migrated_holds(folder: Path, said: list[str]) -> None:
    for _ in range(2):
        with Store.open(folder / "store") as store:
            assert counts(store) == IN
            assert store.adjustments("wrap1", at(-9), at(9)).height == 1
        assert examine(folder / "store", None) == []


SCENARIOS: dict[str, tuple[Callable[[Path, Say], None], Callable[[Path, list[str]], None]]] = {
    "store": (store_written, store_holds),
    "layouts": (layouts_written, layouts_hold),
    "records": (records_written, records_hold),
    "migration": (migrated, migrated_holds),
}


def forked(run: Callable[[], None]) -> int:
    """Run something in a process of its own; its exit status."""
    pid = os.fork()
    if pid == 0:
        signal.alarm(LONGEST_S)
        try:
            run()
            status = 0
        except BaseException:  # noqa: BLE001 - whatever went wrong is this process's alone
            traceback.print_exc()
            status = 1
        sys.stderr.flush()
        os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def killed(scenario: str, folder: Path, before: int) -> int:
    """Kill a scenario before its nth write; how many writes were made."""
    write, _ = SCENARIOS[scenario]
    steps, said, made = [0], folder / "said", folder / "steps"

    def run() -> None:
        handle = os.open(said, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        watched(before, steps)
        write(folder, lambda words: os.write(handle, f"{words}\n".encode()) and None)
        made.write_text(str(steps[0]))

    status = forked(run)
    assert status in (0, 9), f"{scenario} before write {before}: {status}"
    return int(made.read_text()) if made.exists() else before


def begun(scenario: str, root: Path, name: str) -> Path:
    folder = root / name
    folder.mkdir()
    (folder / "plant.toml").write_text((root / "plant.toml").read_text(encoding="utf-8"), encoding="utf-8")
    if scenario == "migration":
        assert forked(lambda: of_former_form(folder)) == 0
    return folder


def main(scenario: str, root: Path, most: int) -> None:
    """Kill a scenario at each of its writes, or at so many of them; print the counts."""
    _, holds = SCENARIOS[scenario]
    total = killed(scenario, begun(scenario, root, "whole"), NEVER)
    points = range(total) if most >= total else range(most // 2, total, -(-total // most))
    wrong = 0
    for before in points:
        folder = begun(scenario, root, str(before))
        killed(scenario, folder, before)
        said = (folder / "said").read_text(encoding="utf-8").split()
        words = (folder / "said").read_text(encoding="utf-8").split("\n")[:-1] if said else []
        if forked(lambda folder=folder, words=words: holds(folder, words)) != 0:
            print(f"{scenario}: killed before write {before}, after {words}", file=sys.stderr)
            wrong += 1
        shutil.rmtree(folder)
    print(total, len(points), wrong)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
