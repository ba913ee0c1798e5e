"""Tables as people read them: seconds where minutes would say one moment twice, no more decimals than numbers bear."""

from datetime import UTC, datetime, timedelta

import pytest

from lineview.core.estimate import Estimate
from lineview.core.figure import Period
from lineview.plant import Plant, Shift
from lineview.report import tables
from lineview.report.answer import OF_ROW, Answer, Scope, Span, Table, columns_of, file_name
from lineview.report.figures import outside_figures, outside_words
from lineview.report.tables import table_text

PLANT = Plant(shop="Invented Sweets", zone="Europe/Berlin")
AT = datetime(2026, 6, 9, 12, 15, 4, tzinfo=UTC)


def stops(*seconds: float) -> list[list[str]]:
    ends = [{"start": AT, "end": AT + timedelta(seconds=s)} for s in seconds]
    return table_text(Table("stops", "Stops", columns_of("start: from; end: to"), ends), PLANT).rows


def test_a_stop_within_one_minute_has_seconds() -> None:
    assert stops(60 * 18) == [["Tue 9 June, 14:15", "Tue 9 June, 14:33"]]
    assert stops(60 * 18, 40) == [
        ["Tue 9 June, 14:15:04", "Tue 9 June, 14:33:04"],
        ["Tue 9 June, 14:15:04", "Tue 9 June, 14:15:44"],
    ]


@pytest.mark.parametrize(
    ("numbers", "cells"),
    [
        ([-16.87, -5.98, 7.81], ["−16.9", "−6.0", "7.8"]),  # three figures of the largest
        ([0.05, 1200.0], ["0.05", "1,200.00"]),  # the least is never written as nothing
        ([35.9, 150.0], ["36", "150"]),
        ([10.0, 0.56], ["10.0", "0.6"]),
        ([1200.0, 0.00012], ["1,200.000", "0.000"]),  # three places beyond the largest's at most
        ([0.0054, 0.0005], ["0.0054", "0.0005"]),
    ],
)
def test_a_column_has_the_decimals_of_its_largest_number(numbers: list[float], cells: list[str]) -> None:
    table = Table("t", "t", columns_of("v"), [{"v": n} for n in numbers])
    assert [row[0] for row in table_text(table, PLANT).rows] == cells


def test_minutes_have_one_decimal() -> None:
    table = Table("t", "t", columns_of("minutes [min]"), [{"minutes": n} for n in (435.0, 27.97, 1.7)])
    assert [row[0] for row in table_text(table, PLANT).rows] == ["435.0", "28.0", "1.7"]


def test_numbers_of_several_units_stand_with_their_unit_and_the_decimals_of_their_row() -> None:
    columns = columns_of("what: key figure; first [u]; second [u]", u=OF_ROW)
    rows = [
        {"what": "effective rate", "unit": "pieces/min", "first": 245.64, "second": 31.06},
        {"what": "film per thousand", "unit": "m", "first": 57.557, "second": -0.053},
        {"what": "candy used", "unit": "kg", "first": 15545.25, "second": None},
    ]
    table = Table("t", "t", columns, rows)
    assert table_text(table, PLANT).headings == ["key figure", "first", "second"]
    assert table_text(table, PLANT).rows == [
        ["effective rate", "245.6 pieces/min", "31.1 pieces/min"],
        ["film per thousand", "57.56 m", "−0.05 m"],
        ["candy used", "15,545 kg", "–"],
    ]
    american = table_text(table, PLANT.model_copy(update={"units": "US"})).rows
    assert american[1:] == [["film per thousand", "188.8 ft", "−0.2 ft"], ["candy used", "34,271 lb", "–"]]
    # 57.557 m ÷ 0.3048 m/ft and 15,545.25 kg ÷ 0.45359237 kg/lb, which are exact by definition


@pytest.mark.parametrize(
    ("words", "unit", "heading"),
    [
        ("minutes", "min", "minutes"), ("ran", "min", "ran, min"), ("gross", "g", "gross, g"), ("size", "", "size"),
        ("metres", "m", "metres, m"), ("pieces made", "pieces", "pieces made"), ("mean in g", "g", "mean in g"),
    ],
)  # fmt: skip
def test_a_heading_names_its_unit_once(words: str, unit: str, heading: str) -> None:
    """A unit of one or two letters begins too many words to be taken for named."""
    assert tables.heading(words, unit, PLANT) == heading
    assert tables.heading("interval", "mm", PLANT.model_copy(update={"units": "US"})) == "interval, in"


def test_a_column_of_numbers_is_one_of_nothing_else() -> None:
    table = Table("t", "t", columns_of("a; b; c; d"), [{"a": "x", "b": True, "c": 1.5}, {"a": "y", "b": False}])
    assert table_text(table, PLANT).numbers == [False, False, True, False]


def test_cells_are_written_by_what_they_hold() -> None:
    written = [tables.cell(c, "mm", PLANT, 2) for c in (25.4, True, False, AT, AT.date(), None)]
    assert written == ["25.40", "yes", "no", "Tue 9 June, 14:15", "Tue 9 June", "–"]
    assert tables.cell(25.4, "mm", PLANT.model_copy(update={"units": "US"}), 2) == "1.00"


def test_columns_of_one_measure_keep_what_either_needs() -> None:
    columns = [("a", "a", "mm"), ("b", "b", "mm"), ("n", "n", "g")]
    assert tables.table_decimals(columns[:1], [{"a": 50.25}, {"a": 0.5}], PLANT) == {"a": 1}
    assert tables.table_decimals(columns[:1], [{"a": 1.0}, {"a": 0.5}], PLANT) == {"a": 1}  # two figures of 1.0
    assert tables.table_decimals(columns, [{"a": 50.25, "b": 0.5, "n": 7.0}], PLANT) == {"a": 2, "b": 2, "n": 0}
    charged = Table("t", "t", columns_of("a [EUR]; b [EUR]"), [{"a": 1200.5, "b": 3.0}], to_hundredths=("a", "b"))
    assert tables.table_places(charged, PLANT) == {"a": 2, "b": 0}


@pytest.mark.parametrize(
    ("outside", "text"),
    [
        (Estimate.exact(0.4), ""),
        (Estimate.exact(0.6), "Outside every shift 1 more good pieces were made."),
        (Estimate(10.0, 8.0, 12.0), "Outside every shift 10 (8 to 12) more good pieces were made."),
        (
            Estimate(None, 8.0, None),
            "Outside every shift at least 8 (8 to an unknown number) more good pieces were made.",
        ),
    ],
)
def test_what_was_made_outside_shifts_is_said_from_a_piece_on(outside: Estimate, text: str) -> None:
    assert outside_words(outside, 1000.0) == text
    assert bool(outside_figures(outside, Period(AT, AT))) == bool(text)


def test_a_file_is_named_for_its_shift_its_days_or_its_times() -> None:
    early = Shift(id="early", start="06:00", end="14:00")
    plant = PLANT.model_copy(update={"shifts": (early,)})
    midnight = datetime(2026, 6, 7, 22, tzinfo=UTC)  # of Berlin

    def name(start: datetime, hours: float, machine: str = "wrap1") -> str:
        scope = Scope("1", machine, Period(start, start + timedelta(hours=hours)), AT)
        return file_name(Answer("shift", scope, (Span("x"),)), plant)

    assert name(midnight + timedelta(hours=6), 8) == "shift-wrap1-2026-06-08-early"
    assert name(midnight, 24) == "shift-wrap1-2026-06-08"
    assert name(midnight, 72) == "shift-wrap1-2026-06-08-to-2026-06-10"
    assert name(midnight + timedelta(hours=1), 24, "") == "shift-line-1-2026-06-08-0100-to-2026-06-09-0100"
    assert name(midnight, 25) == "shift-wrap1-2026-06-08-0000-to-2026-06-09-0100"
