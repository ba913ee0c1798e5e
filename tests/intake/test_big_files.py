"""A big file read in pieces gives exactly what the reading of the whole file gives."""

from datetime import datetime, timedelta

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineview.intake import big
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, layout_of

ROWS = 3_000
LAYOUT = layout_of({"Stück": "pieces", "film": "film"}, time="Zeit", decimal=".")


def lines(start: datetime, step_s: int = 60, film: str = "{0}") -> list[str]:
    """Rows of a counter log in wall-clock time, a repeated or missing hour as the clock would show it."""
    at = pl.datetime_range(
        start, start + timedelta(seconds=step_s * (ROWS - 1)), f"{step_s}s", time_zone="UTC", eager=True
    ).dt.convert_time_zone("Europe/Berlin")
    texts = at.dt.strftime("%Y-%m-%d %H:%M:%S").to_list()
    return ["Zeit,Stück,film", *(f"{t},{i * 7 % 999_999},{film.format(i)}" for i, t in enumerate(texts))]


def changed(place: int, text: str) -> list[str]:
    """The rows of a quiet week, one of them another."""
    rows = lines(datetime(2026, 6, 1))  # noqa: DTZ001 - a wall clock
    rows[place] = text
    return rows


QUIET = lines(datetime(2026, 6, 1))  # noqa: DTZ001 - a wall clock
AUTUMN = lines(datetime(2026, 10, 24))  # noqa: DTZ001 - a wall clock
SPRING = lines(datetime(2026, 3, 28))  # noqa: DTZ001 - a wall clock
FILES = {
    "quiet": (QUIET, True),
    "repeated hour": (AUTUMN, True),
    "spring": (SPRING, True),
    "decimals": (lines(datetime(2026, 6, 1), film="{0}.25"), True),  # noqa: DTZ001 - a wall clock
    "newest first": ([QUIET[0], *reversed(QUIET[1:])], True),
    "a moment twice": ([*QUIET, QUIET[-1]], True),
    "empty cell": (changed(2_000, "2026-06-02 15:19:00,,5"), False),
    "placeholder": (changed(2_000, "2026-06-02 15:19:00,n/a,5"), False),
    "no time": (changed(2_000, "???,12,5"), False),
    "a time the zone skips": ([*SPRING, "2026-03-29 02:30:00,1,1"], False),
    "blank line": (changed(2_000, ""), False),
    "a cell too few": (changed(2_000, "2026-06-02 15:19:00,12"), False),
    "a cell too many": (changed(2_000, "2026-06-02 15:19:00,12,5,6"), False),
    "cut off": ([*QUIET, "2026-06-09 10:0"], False),
    "quotes": (changed(2_000, '2026-06-02 15:19:00,"12",5'), False),
    "NUL": (changed(2_000, "2026-06-02 15:19:00,1\x002,5"), False),
    "not finite": (changed(2_000, "2026-06-02 15:19:00,12,nan"), False),
    "header again": ([*QUIET, QUIET[0], "2026-06-09 10:00:00,1,1"], False),
}


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("name", FILES)
def test_pieces_give_what_the_whole_gives(tmp_path, monkeypatch, name, mark, end):
    rows, in_pieces = FILES[name]
    path = tmp_path / "log.csv"
    path.write_bytes((mark + end.join(rows) + end).encode())
    whole = read_export(path, WORKS, layout=LAYOUT)
    monkeypatch.setattr(big, "BIG", 10_000)
    monkeypatch.setattr(big, "_PIECE", 7_000)
    monkeypatch.setattr(big, "_HEAD", 5_000)
    done = []
    pieces = read_export(path, WORKS, layout=LAYOUT, progress=done.append)
    assert (len(pieces.parts[0].frames) > 1) == in_pieces
    assert done == sorted(done) or not in_pieces
    order = ["channel", "row"]
    assert_frame_equal(pieces.parts[0].tidy.sort(order), whole.parts[0].tidy.sort(order))
    assert_frame_equal(pieces.refusals, whole.refusals)
    for fact in ("sha256", "size_bytes", "layouts", "rows", "rows_refused", "uncertain", "notes"):
        assert getattr(pieces, fact) == getattr(whole, fact), fact


def test_windows_text_and_old_line_ends_are_left_to_the_whole_reading(tmp_path, monkeypatch):
    monkeypatch.setattr(big, "BIG", 10_000)
    for number, data in enumerate(
        ("\n".join(QUIET).encode("cp1252"), "\r".join(QUIET).encode(), "\n".join(QUIET).encode("utf-16"))
    ):
        path = tmp_path / f"{number}.csv"
        path.write_bytes(data)
        export = read_export(path, WORKS, layout=LAYOUT)
        assert (export.rows, len(export.parts[0].frames)) == (ROWS, 1)
