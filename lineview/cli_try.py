"""The invented works on the command line: its exports taken in, answered and shown."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from shutil import copy2, copytree

from lineview.cli_console import console
from lineview.core.resources import shipped
from lineview.errors import Fault, LineviewError, StoreError
from lineview.question_scope import QUESTIONS, QuestionScope
from lineview.works import Works

#: The demo's first day; a Monday.
FIRST_DAY = date(2026, 6, 8)


def write_demo(into: Path, days: int, seed: int) -> None:
    """Write the invented works' exports and truth.

    Parameters
    ----------
    into : pathlib.Path
        A new or empty folder.
    days : int
        How many.
    seed : int
        Another gives other days.

    Raises
    ------
    StoreError
        Where the folder holds something already.
    """
    from lineview.demo.make import make_demo

    if into.exists() and any(into.iterdir()):
        raise StoreError(Fault("the folder is not empty", str(into), "a new or empty one"))
    make_demo(into, days=days, seed=seed, start=FIRST_DAY)
    console.print(
        f"Wrote an invented works to {into}: plant.toml, exports/, and the truth beside them in truth/.\n"
        f"Take its exports in with: lineview intake {into / 'exports'} --works {into}",
        soft_wrap=True,
    )


def try_the_demo(into: Path, port: int | None) -> None:
    """Set the invented works up, take its exports in, print the answers, serve the board.

    Parameters
    ----------
    into : pathlib.Path
        The works folder to make; one made before is used again.
    port : int or None
        Where to serve the board; None not to.
    """
    _set_up(into)
    with Works(into) as works:
        taken = works.take([into / "exports"])
        rows = sum(one.receipt.rows for one in taken if one.receipt is not None)
        kept = sum(one.receipt.kept for one in taken if one.receipt is not None)
        refused = sum(one.receipt.refused for one in taken if one.receipt is not None)
        console.print(
            f"{works.plant.shop}, an invented works: {len(taken)} exports with {rows:,} rows are in; "
            f"{kept:,} were new, {refused:,} were refused with their reasons.\n",
            soft_wrap=True,
        )
        faults = [fault for one in taken if one.error is not None for fault in one.error.faults]
        if faults:
            raise LineviewError(faults)
        for question in QUESTIONS:
            answer = works.ask(QuestionScope(question))
            console.print(f"[bold]{question.capitalize()}[/bold]  {answer.text}", soft_wrap=True)
            console.print(f"        {answer.soft}\n", soft_wrap=True, style="dim")
        if port is not None:
            from lineview.board.serve import run_board

            run_board(works, "127.0.0.1", port)


def _set_up(into: Path) -> None:
    made_before = (into / "plant.toml").is_file()
    if into.exists() and any(into.iterdir()) and not made_before:
        raise StoreError(
            Fault("the folder is not empty", str(into), "a new one, or one made by this command")
        )
    if made_before:
        return
    source = shipped("data") / "demo"
    into.mkdir(parents=True, exist_ok=True)
    copytree(source / "exports", into / "exports")
    copy2(source / "plant.toml", into / "plant.toml")
