"""A big file read in pieces gives exactly what the reading of the whole file gives."""

import gzip
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineview.core.errors import IntakeError
from lineview.intake import big, pieces
from lineview.intake.exports import NotInPieces
from lineview.intake.read import open_big, read_export
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
AUTUMN = lines(datetime(2026, 10, 20), step_s=300)  # noqa: DTZ001 - a wall clock
SPRING = lines(datetime(2026, 3, 28))  # noqa: DTZ001 - a wall clock
#: First rows of pieces, by the size of pieces below.
PIECE = 7_000


def borders(rows: list[str]) -> list[int]:
    """Places of the lines that pieces begin with."""
    found, size = [], -len(rows[0]) - 1
    for place, row in enumerate(rows):
        size += len(row) + 1
        if size >= PIECE:
            found.append(place + 1)
            size = 0
    return found


def with_odd(at: list[int], texts: list[str]) -> list[str]:
    rows = list(QUIET)
    for i, place in enumerate(at):
        rows[place] = texts[i % len(texts)]
    return rows


AT_BORDERS = [place + step for place in borders(QUIET)[:6] for step in (-1, 0)]
ODD = ["2026-06-02 15:19:00,n/a,5", "???,12,5", "", QUIET[0], "2026-06-02 15:19:00,1", ",,", "Summe,9,9"]
FILES = {
    "quiet": QUIET,
    "repeated hour": AUTUMN,
    "the clocks went back, newest first": [AUTUMN[0], *reversed(AUTUMN[1:])],
    "the clocks went back, one pass": list({row.split(",")[0]: row for row in AUTUMN}.values()),
    "the clocks went back, an odd cell": [*AUTUMN[:1_400], "???,1,1", *AUTUMN[1_400:]],
    "spring": SPRING,
    "decimals": lines(datetime(2026, 6, 1), film="{0}.25"),  # noqa: DTZ001 - a wall clock
    "newest first": [QUIET[0], *reversed(QUIET[1:])],
    "a moment twice": [*QUIET, QUIET[-1]],
    "empty cell": changed(2_000, "2026-06-02 15:19:00,,5"),
    "placeholder": changed(2_000, "2026-06-02 15:19:00,n/a,5"),
    "no time": changed(2_000, "???,12,5"),
    "a time the zone skips": [*SPRING, "2026-03-29 02:30:00,1,1"],
    "blank line": changed(2_000, ""),
    "blank lines": [*QUIET[:1_500], "", "", "  ", *QUIET[1_500:], "", ""],
    "a cell too few": changed(2_000, "2026-06-02 15:19:00,12"),
    "a cell too many": changed(2_000, "2026-06-02 15:19:00,12,5,6"),
    "cut off": [*QUIET, "2026-06-09 10:0"],
    "quotes": changed(2_000, '2026-06-02 15:19:00,"12",5'),
    "NUL": changed(2_000, "2026-06-02 15:19:00,1\x002,5"),
    "a bare return": changed(2_000, "2026-06-02 15:19:00,1\r2,5"),
    "not finite": changed(2_000, "2026-06-02 15:19:00,12,nan"),
    "thousands": changed(2_000, "2026-06-02 15:19:00,1 200,5"),
    "a decimal late": changed(2_900, "2026-06-02 15:19:00,12.5,5"),
    "header again": [*QUIET, QUIET[0], "2026-06-09 10:00:00,1,1"],
    "a footer": [*QUIET, "Total,9,9"],
    "odd rows at borders": with_odd(AT_BORDERS, ODD),
    "blank lines at borders": with_odd(AT_BORDERS, [""]),
    "headers at borders": with_odd(AT_BORDERS, [QUIET[0]]),
    "odd rows everywhere": with_odd(list(range(500, 3_000, 7)), ODD),
}


def written(path: Path, rows: list[str], end: str = "\n", mark: str = "") -> Path:
    data = (mark + end.join(rows) + end).encode()
    path.write_bytes(gzip.compress(data, mtime=0) if path.suffix == ".gz" else data)
    return path


@pytest.fixture
def small(monkeypatch):
    """Files are big from a few lines on, and read in pieces of some 200 rows."""
    monkeypatch.setattr(pieces, "BIG", 10_000)
    monkeypatch.setattr(pieces, "_PIECE", PIECE)
    monkeypatch.setattr(pieces, "_HEAD", 5_000)


def same_in_pieces(path: Path, layout=LAYOUT, plant=WORKS) -> list[int]:
    """Check that pieces give what the whole gives; give how many rows each stretch has."""
    whole, done = read_export(path, plant, layout=layout), []
    opened = open_big(path, plant, layout=layout, progress=done.append)
    assert opened is not None
    stretches = list(opened.stretches(path))
    order = ["machine", "channel", "row"]
    tidy = pl.concat([frame for one in stretches for frame in one.frames])
    assert_frame_equal(tidy.sort(order), whole.parts[0].tidy.sort(order))
    refused = pl.concat([one.refused for one in stretches])
    assert_frame_equal(refused, whole.refusals.select(refused.columns))
    assert sum(one.rows for one in stretches) == whole.rows
    assert sum(one.rows_refused for one in stretches) == whole.rows_refused
    assert sum(one.uncertain for one in stretches) == whole.uncertain
    assert (opened.layouts, opened.notes) == (whole.layouts, whole.notes)
    assert done == sorted(done) and done[-1] >= whole.rows
    return [one.rows for one in stretches]


@pytest.mark.parametrize("name", ["log.csv", "log.csv.gz"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("rows", FILES)
def test_pieces_give_what_the_whole_gives(tmp_path, small, rows, mark, end, name):
    path = written(tmp_path / name, FILES[rows], end, mark)
    assert len(same_in_pieces(path)) > 3


@pytest.mark.parametrize("rows", ["placeholder", "no time", "a cell too many", "quotes", "not finite"])
def test_only_the_piece_of_an_odd_cell_is_read_with_care(tmp_path, small, monkeypatch, rows):
    careful, real = [], big.BigExport._careful

    def counted(self, data, row):
        careful.append(row)
        return real(self, data, row)

    monkeypatch.setattr(big.BigExport, "_careful", counted)
    stretches = same_in_pieces(written(tmp_path / "log.csv", FILES[rows]))
    assert len(careful) == 1 < len(stretches)
    assert careful[0] <= 2_001 < careful[0] + 250


def other_forms() -> dict[str, tuple[list[str], object]]:
    """Files whose cells have to be looked at as text: quality, machines, names, states, decimal commas."""
    rows = [row.split(",") for row in QUIET[1:]]
    quality = [[*r, ("Good", "Bad", "Held", "Good")[i % 4]] for i, r in enumerate(rows)]
    machines = [[*r, ("wrap1", "wrap2", "wrap9")[i % 3]] for i, r in enumerate(rows)]
    long = [[t, ("Stück", "film", "unknown", "state")[i % 4], p] for i, (t, p, _) in enumerate(rows)]
    wide = {"Stück": "pieces", "film": "film"}
    return {
        "quality": (
            [QUIET[0] + ",Q", *map(",".join, quality)],
            layout_of(wide, time="Zeit", decimal=".", quality_column="Q"),
        ),
        "machines": (
            [QUIET[0] + ",M", *map(",".join, machines)],
            layout_of(wide, time="Zeit", decimal=".", machine=None, machine_column="M"),
        ),
        "long": (
            ["Zeit,Name,Wert", *map(",".join, long)],
            layout_of(
                {"Stück": "pieces", "film": "film", "state": "state"},
                time="Zeit", shape="long", name_column="Name", value_column="Wert",
            ),
        ),
        "decimal commas": (
            ["Zeit;Stück;film", *(f"{t};{p};{f},25" for t, p, f in rows)],
            layout_of(wide, time="Zeit"),
        ),
        "date and clock": (
            ["Tag,Uhr,Stück,film", *(",".join([*t.split(" "), p, f]) for t, p, f in rows)],
            layout_of(wide, time=("Tag", "Uhr")),
        ),
        "quoted": (
            ['"Zeit","Stück","film"', *(f'"{t}","{p}","{f}"' for t, p, f in rows)],
            layout_of(wide, time="Zeit"),
        ),
        "day first": (
            ["Zeit,Stück,film", *(f"{t[8:10]}.{t[5:7]}.{t[:4]}{t[10:]},{p},{f}" for t, p, f in rows)],
            layout_of(wide, time="Zeit", time_format="auto"),
        ),
    }  # fmt: skip


@pytest.mark.parametrize("form", other_forms())
def test_what_is_read_as_text_is_read_in_pieces_too(tmp_path, small, form):
    rows, layout = other_forms()[form]
    assert len(same_in_pieces(written(tmp_path / "log.csv", rows), layout)) > 3


def late(place: int, row: str, header: str = QUIET[0], end: str = "") -> list[str]:
    rows = [header, *(text + end for text in QUIET[1:])]
    rows[place] = row
    return rows


UNSETTLED = {
    "a code that changes what others mean": (
        late(2_500, "2026-06-02 15:19:00,1,1,1083179008", QUIET[0] + ",Q", ",64"),
        {"quality_column": "Q", "decimal": "."},
    ),
    "another decimal mark": (late(2_500, "2026-06-02 15:19:00;1,5;1", "Zeit;Stück;film"), {}),
    "times without seconds": (late(2_500, "2026-06-02 15:19,1,1"), {}),
    "another order of the date": (late(2_500, "05/06/2026 15:19:00,1,1"), {}),
    "a clock set back": ([*QUIET[:2_500], *lines(datetime(2026, 5, 31, 23))[2_500:]], {"decimal": "."}),  # noqa: DTZ001 - a wall clock
    "an open quote": (late(2_500, '2026-06-02 15:19:00,"1,1'), {}),
    "no UTF-8": (QUIET, {}),
    "a damaged gzip": (QUIET, {}),
}


@pytest.mark.parametrize("name", UNSETTLED)
def test_what_a_later_piece_unsettles_is_read_whole(tmp_path, small, name):
    rows, settings = UNSETTLED[name]
    layout = layout_of({"Stück": "pieces", "film": "film"}, time="Zeit", **settings)
    if name == "another decimal mark":
        rows = [row.replace(",", ";") if i != 2_500 else row for i, row in enumerate(rows)]
        rows[2_000] = rows[2_000].replace(";", ".25;", 2).replace(".25;", ";", 1)
    path = written(tmp_path / ("log.csv.gz" if "gzip" in name else "log.csv"), rows)
    if name == "no UTF-8":
        path.write_bytes(path.read_bytes() + b"2026-06-09 10:00:00,1,1 \xb0\n")
    if name == "a damaged gzip":
        path.write_bytes(path.read_bytes()[:-2_000])
    opened = open_big(path, WORKS, layout=layout)
    assert opened is not None
    with pytest.raises(NotInPieces):
        list(opened.stretches(path))


def test_a_clock_set_back_between_two_pieces_is_read_whole(tmp_path, small):
    first = borders(QUIET)[3]
    rows = [*QUIET[:first], *lines(datetime(2026, 5, 31, 23))[first:]]  # noqa: DTZ001 - a wall clock
    opened = open_big(written(tmp_path / "log.csv", rows), WORKS, layout=LAYOUT)
    assert opened is not None
    with pytest.raises(NotInPieces):
        list(opened.stretches(opened.path))
    with pytest.raises(IntakeError, match="its clock goes back from"):
        read_export(opened.path, WORKS, layout=LAYOUT)


def test_a_pace_that_is_not_the_machines_is_read_whole(tmp_path, small):
    machines = tuple(m.model_copy(update={"nominal_per_min": (300.0, 400.0)}) for m in WORKS.machines)
    works = WORKS.model_copy(update={"machines": machines})
    opened = open_big(written(tmp_path / "log.csv", QUIET), works, layout=LAYOUT)
    assert opened is not None
    with pytest.raises(NotInPieces):
        list(opened.stretches(opened.path))
    with pytest.raises(IntakeError, match="makes 7 pieces a minute while it counts"):
        read_export(opened.path, works, layout=LAYOUT)


def test_windows_text_and_old_line_ends_are_left_to_the_whole_reading(tmp_path, small):
    for number, data in enumerate(
        ("\n".join(QUIET).encode("cp1252"), "\r".join(QUIET).encode(), "\n".join(QUIET).encode("utf-16"))
    ):
        path = tmp_path / f"{number}.csv"
        path.write_bytes(data)
        assert open_big(path, WORKS, layout=LAYOUT) is None
        assert read_export(path, WORKS, layout=LAYOUT).rows == ROWS
