"""The table of figures: its rows are used, its sources are known, and an answer's figure takes all from its row."""

import re
import tomllib
from datetime import UTC, datetime

import pytest

from lineview.core.estimate import Estimate
from lineview.core.figure import Period
from lineview.report.figure_table import FIGURES
from lineview.report.figures import FigureList
from tests.structure.conftest import PACKAGE, ROOT

AT = datetime(2026, 6, 9, 4, tzinfo=UTC)
TEXTS = {path: path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py") if path.name != "figure_table.py"}


def test_every_row_is_of_a_figure_that_an_answer_shows() -> None:
    # Names put together from a part: those of key figures and of the order's advice.
    composed = {f"iso_{key}_percent" for key in re.findall(r'KeyFigure\(\s*"(\w+)"', "".join(TEXTS.values()))}
    composed |= {f"{key}_percent" for key in re.findall(r'KeyFigure\(\s*"(\w+)"', "".join(TEXTS.values()))}
    words = {word for text in TEXTS.values() for word in re.findall(r'"([\w{}]+)"', text)}
    unused = [name for name in FIGURES if name not in words | composed and name.removesuffix("_{web}") not in words]
    assert not [name for name in unused if name != "{kind}_{unit}_per_thousand_{part}"]


def test_a_figures_unit_is_the_one_that_its_name_ends_with() -> None:
    units = {unit: unit for unit in ("mm", "m", "g", "kg", "s", "min", "h")} | {"percent": "%"}
    named = {name: row.unit for name, row in FIGURES.items() if "_per_" not in name and name.rsplit("_")[-1] in units}
    assert len(named) > 60
    assert {name: unit for name, unit in named.items() if unit != units[name.rsplit("_")[-1]]} == {}


def test_every_source_is_in_the_list_of_sources() -> None:
    listed = tomllib.loads((ROOT / "data" / "sources.toml").read_text(encoding="utf-8"))
    ids = {source["id"] for source in listed["sources"]} if isinstance(listed.get("sources"), list) else set(listed)
    assert not {name: row.sources for name, row in FIGURES.items() if set(row.sources.split()) - ids}


def test_the_sheet_of_a_shift_shows_the_five_key_figures_of_the_standard() -> None:
    keys = ("availability", "effectiveness", "nee_index", "oee_index", "quality_ratio")
    assert sorted(name for name, row in FIGURES.items() if row.printed) == [f"iso_{key}_percent" for key in keys]


def test_a_figure_takes_its_label_unit_and_sources_from_its_row() -> None:
    figures = FigureList(Period(AT, AT), currency="EUR")
    figures.add("order_money_{web}", Estimate(20.0, 18.0, 22.0, 7), "2 × 10", web="Film 1")
    (figure,) = figures.all
    assert (figure.name, figure.label, figure.unit) == ("order_money_film_1", "cost of the order, Film 1", "EUR")
    assert (figure.value, figure.low, figure.high, figure.n, figure.working) == (20.0, 18.0, 22.0, 7, "2 × 10")
    assert figure.sources == ("reel-order", "inventory-theory")
    assert figure.interval_kind == "advice, no interval"
    assert figure.period == Period(AT, AT)


def test_a_figure_without_a_value_says_why() -> None:
    figures = FigureList(Period(AT, AT))
    figures.too_few("mttr_min", needs=8, has=3)
    figures.unknown("uptime_percent", "no planned minute was seen")
    figures.add("mtbf_min", Estimate(None, 12.0, why_none="no stop began"), "60 running minutes ÷ 0 stops")
    assert figures["mttr_min"].why_none == figures["mttr_min"].interval_kind == "too few: needs 8, has 3"
    assert figures["mttr_min"].n == 3
    assert figures["uptime_percent"].why_none == "not known: no planned minute was seen"
    assert (figures["mtbf_min"].low, figures["mtbf_min"].why_none) == (12.0, "no stop began")
    assert figures["mtbf_min"].interval_kind == FIGURES["mtbf_min"].interval


@pytest.mark.parametrize(
    ("total", "value", "ends", "kind"),
    [
        (Estimate(99.6, 99.6, 99.6, 5), 100, (None, None), "from exact counts"),
        (Estimate(99.6, 90.0, 120.4, 5), 100, (90.0, 120.4), "bounds: what the readings leave open"),
        (Estimate(None, 90.0, None, 5), None, (90.0, None), "bounds: readings missing"),
        (Estimate(4.0, None, 7.0, 5), 4, (0.0, 7.0), "bounds: what the readings leave open"),  # no count is below 0
    ],
)
def test_a_count_has_bounds_where_readings_leave_it_open(total, value, ends, kind) -> None:
    figures = FigureList(Period(AT, AT))
    figures.count("rejects", total, "increments")
    figure = figures["rejects"]
    assert (figure.value, (figure.low, figure.high), figure.interval_kind, figure.n) == (value, ends, kind, 5)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(KeyError):
        FigureList(Period(AT, AT)).add("no_such_figure", 1.0)
