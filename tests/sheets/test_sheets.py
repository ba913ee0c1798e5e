"""Sheets carry the answer's own figures; nothing in the data becomes a formula or runs."""

import re
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import BytesIO

import fastexcel
import polars as pl
import pytest

from lineview.core.figure import Figure, Period
from lineview.core.frames import STATE_TIMELINE
from lineview.plant import Plant
from lineview.report.answer import OF_ROW, Answer, Scope, Span, Table, columns_of
from lineview.report.tables import TableText
from lineview.sheets.pdf import LETTERS, ROWS, _page, _shares, handover, to_pdf
from lineview.sheets.tables import _name, guard_formulas, to_xlsx
from tests.references.pdf_pages import pages
from tests.simulate.shift import FRAME, ask, plan, sheet, works

START = datetime(2026, 6, 9, 4, tzinfo=UTC)
PLANT = Plant(shop="Invented Sweets #1 $x$", zone="Europe/Berlin")


def answer() -> Answer:
    timeline = pl.DataFrame(
        {
            "start": [START, START + timedelta(hours=1)],
            "end": [START + timedelta(hours=1), START + timedelta(hours=2)],
            "state": ["running", "stop"],
            "pieces": [21_000.0, 0.0],
            "pieces_low": [21_000.0, 0.0],
            "pieces_high": [21_000.0, 0.0],
            "reason": [None, "#panic() jam"],
        },
        schema=STATE_TIMELINE,
    )
    rows = [{"reason": "=cmd|' /C calc'!A0", "minutes": 12.5}, {"reason": "@jam #eval", "minutes": None}]
    return Answer(
        question="shift",
        scope=Scope("1", "wrap1", Period(START, START + timedelta(hours=2)), START, "Tue 9 June, early"),
        sentence=(Span("This shift made "), Span("21,000", call=True), Span(" good pieces.")),
        figures=(
            Figure("good_pieces", "good pieces", 21_000, "pieces", n=720, working="21,000 - 0"),
            Figure("x", "x", None, n=3, why_none="too few: needs 8, has 3"),
        ),
        tables=(Table("stops", "Stops: [all]", (("reason", "reason", ""), ("minutes", "minutes", "min")), rows),),
        series={"timeline": timeline},
        notes=("A note.",),
        cautions=("Stop and lock out first.",),
    )


def read(sheet: str) -> pl.DataFrame:
    return pl.read_excel(BytesIO(to_xlsx(answer(), PLANT)), sheet_name=sheet, infer_schema_length=0, has_header=False)


def test_the_workbook_holds_the_figures_and_no_formula() -> None:
    cells = read("Shift").rows()
    assert ("good pieces", "21000") in [row[:2] for row in cells]
    assert any("too few: needs 8, has 3" in row for row in cells)
    stops = read("Stops   all")
    assert stops.rows()[1] == ("=cmd|' /C calc'!A0", "12.5")
    assert stops.rows()[2][1] is None


def test_a_workbook_of_a_us_plant_is_in_us_units_and_days_are_days() -> None:
    told = replace(
        answer(),
        figures=(Figure("d", "diameter", 20.32, "mm", low=20.066, high=20.574, n=8),),
        tables=(
            Table(
                "due",
                "What is due",
                (("by", "by", ""), ("mass", "mass", "kg")),
                [{"by": date(2026, 6, 12), "mass": 22.6796185}],
            ),
        ),
    )
    book = BytesIO(to_xlsx(told, Plant(shop="Invented Sweets", units="US")))
    figures = pl.read_excel(book, sheet_name="Shift", infer_schema_length=0, has_header=False).rows()
    row = next(row for row in figures if row[0] == "diameter")
    assert [round(float(cell), 9) for cell in row[1:4]] == [0.8, 0.79, 0.81]
    assert row[4] == "in"
    due = pl.read_excel(book, sheet_name="What is due")
    assert due.columns == ["by", "mass, lb"]
    assert due["by"].to_list() == [date(2026, 6, 12)]
    assert abs(due["mass, lb"][0] - 50) < 1e-9


def test_the_workbook_stores_risky_text_as_text() -> None:
    with zipfile.ZipFile(BytesIO(to_xlsx(answer(), PLANT))) as book:
        sheets = [book.read(n) for n in book.namelist() if n.startswith("xl/worksheets/")]
    assert not any(b"<f>" in sheet for sheet in sheets)


def test_the_page_is_one_pdf_page_and_markup_in_data_is_only_text() -> None:
    assert pages(to_pdf(answer(), PLANT)) == 1


def test_the_list_below_the_sentence_is_a_row_and_a_line_for_each_point() -> None:
    listed = replace(answer(), points=("Film Plum: order 8 reels at once.", "Wax paper: order 4 reels #panic()."))
    rows = pl.read_excel(
        BytesIO(to_xlsx(listed, PLANT)), sheet_name="Shift", infer_schema_length=0, has_header=False
    ).rows()
    firsts = [row[0] for row in rows]
    assert [text for text in firsts if text in listed.points] == list(listed.points)
    assert firsts.index("good pieces") > firsts.index(listed.points[-1]) + 1
    assert pages(to_pdf(listed, PLANT)) == 1


def test_text_that_a_spreadsheet_would_run_is_defused_in_csv() -> None:
    frame = guard_formulas(pl.DataFrame({"t": ["=1", "+1", "-1", "@x", "\tx", "fine", None], "n": [1] * 7}))
    assert frame["t"].to_list() == ["'=1", "'+1", "'-1", "'@x", "'\tx", "fine", None]


@pytest.mark.parametrize("lost", [False, True])
def test_a_shift_with_everything_prints_on_one_sheet(lost: bool) -> None:
    batches = sheet(*((k * 0.5, ("mint", "lime", "nut", "almond")[k % 4]) for k in range(15)))
    frame = FRAME.filter(pl.col("at").dt.hour() != 9) if lost else FRAME
    answer = ask(frame, batches=batches, plan=plan(("mint", 0, 8, 150_000)))
    assert pages(to_pdf(answer, works())) == 1
    points = Table("open points", "Still open", (("what", "", ""),), [{"what": "a stop " * 40}] * 9)
    columns = (("at", "when", ""), ("what", "note", ""), ("who", "by", ""))
    notes = Table("shift notes", "Notes", columns, [{"at": START, "what": "mind the knife " * 30, "who": "Ann"}] * 9)
    full = replace(answer, tables=(*answer.tables, points, notes), soft=f"Handed over by {'A' * 60}. {answer.soft}")
    assert pages(to_pdf(full, works())) == 1
    assert [t.title for t in handover(full)][-2:] == ["Still open, 5 of 9", "Notes, 4 of 9"]


def test_the_longest_stops_are_kept_in_order_of_time() -> None:
    answer = ask()
    printed = next(t for t in handover(answer) if t.name == "stops")
    stops = next(t for t in answer.tables if t.name == "stops")
    minutes = sorted((row["minutes"] for row in stops.rows), reverse=True)[: ROWS["stops"]]
    assert sorted((row["minutes"] for row in printed.rows), reverse=True) == minutes
    starts = [row["start"] for row in printed.rows]
    assert starts == sorted(starts)


def test_a_handover_sheet_shows_each_key_figure_once() -> None:
    printed = _page(ask(), works())["tables"]
    titles = [table["title"] for table in printed]
    assert len(titles) == len(set(titles))
    (key,) = (table for table in printed if "Key figures" in table["title"])
    assert [row[0] for row in key["rows"]] == [
        "Availability", "Effectiveness", "Quality ratio", "Overall equipment effectiveness index",
        "Net equipment effectiveness index",
    ]  # fmt: skip


def test_a_sheet_of_the_workbook_is_named_in_whole_words() -> None:
    earlier: set[str] = set()
    titles = ["Stops without a reason that recur", "Stops without a reason that last", "Stops", "W" * 40]
    names = [_name(title, earlier) for title in titles]
    assert names == ["Stops without a reason that", "Stops without a reason that 2", "Stops", "W" * 28]


def test_the_workbook_can_be_read_filtered_and_added_up() -> None:
    """Headings stay in sight and filter, numbers have their places, columns are as wide as what they hold."""
    book = zipfile.ZipFile(BytesIO(to_xlsx(answer(), PLANT)))
    figures, stops = (book.read(f"xl/worksheets/sheet{n}.xml").decode() for n in (1, 2))
    for text, cell in ((figures, "B6"), (stops, "B2")):
        assert f'topLeftCell="{cell}"' in text
        assert 'state="frozen"' in text
    assert '<autoFilter ref="A1:B3"/>' in stops
    assert '<autoFilter ref="A5:J7"/>' in figures
    widths = [float(width) for width in re.findall(r'<col [^>]*width="([\d.]+)"', stops)]
    assert widths[0] > len("=cmd|' /C calc'!A0") > widths[1]
    styles = book.read("xl/styles.xml").decode()
    assert {'formatCode="#,##0"', 'formatCode="#,##0.0"'} <= set(re.findall(r'formatCode="[^"]*"', styles))


def test_numbers_of_several_units_are_numbers_in_the_workbook_and_show_their_unit() -> None:
    columns = columns_of("what: key figure; first [u]", u=OF_ROW)
    rows = [{"what": "rate", "unit": "pieces/min", "first": 245.64}, {"what": "uptime", "unit": "%", "first": 71.83}]
    mixed = replace(answer(), tables=(Table("compared", "Compared", columns, rows),))
    book = zipfile.ZipFile(BytesIO(to_xlsx(mixed, PLANT)))
    assert re.findall(r"<v>(\d+\.\d+)</v>", book.read("xl/worksheets/sheet2.xml").decode()) == ["245.64", "71.83"]
    styles = book.read("xl/styles.xml").decode().replace("&quot;", "'")
    assert "#,##0.0 'pieces/min'" in styles
    assert "#,##0.0 '%'" in styles  # quoted: a bare one would multiply by a hundred


def test_no_word_of_a_printed_table_lies_on_the_next_column() -> None:
    headings = ["Bahn", "Wahrscheinlichkeit zu bestehen, %", "kleinstes mittleres Stück, g", "warum"]
    why = "Mit 36 Stück wäre der mittlere Beutel 3,8 g zu leicht, und das ist mehr als eine Zeile fasst."
    rows = [["Wachspapier", "100", "6,80", why]] * 3
    shares = _shares(TableText(headings, rows, [False, True, True, False]), False)
    assert sum(shares) == pytest.approx(LETTERS[0])  # the whole line, of which each column takes what its words need
    for share, words in zip(shares, ("Wachspapier", "Wahrscheinlichkeit", "kleinstes", "mittlere"), strict=True):
        assert share > len(words)
    assert shares[3] > 2 * shares[0]
    assert _shares(TableText(headings[:1], [["Folie"]], [False]), False) == [0]  # it fits as it is


def test_a_printed_page_and_a_workbook_say_the_year() -> None:
    answer = ask()
    assert "2026" in _page(answer, works())["footer"]
    rows = fastexcel.read_excel(to_xlsx(answer, works())).load_sheet(0, header_row=None).to_polars().rows()
    assert rows[0][:3] == ("Invented Sweets", "Tue 9 June, early", "readings up to Tue 9 June 2026, 14:00")


def test_the_week_s_causes_have_room_for_their_names() -> None:
    headings = ["wo es blieb", *["nicht hergestellte Stücke, Stück"] * 6]
    rows = [["Stücke über der Sollmasse, ohne den Strang", *["1.000"] * 6]]
    first, *numbers = _shares(TableText(headings, rows, [False, *[True] * 6]), True)
    assert first > 2 * max(numbers)
    notes = TableText(["wann", "was"], [["Fr 12. Juni", "x " * 60]], [False, False])
    assert _shares(notes, True) == [0, 0]  # a long note takes what is left
