"""Pictures say what the frames say: nothing is moved, hidden, invented or called for without need."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import polars as pl
import pytest

from lineview.charts.order import order_picture
from lineview.charts.render import NEEDS, pictures
from lineview.charts.rope import Tolerance, rope_picture
from lineview.charts.shift import (
    FILLED,
    HATCHING,
    UNEXPLAINED,
    _slow,
    _slow_spans,
    shift_picture,
    strips_of,
    strips_picture,
)
from lineview.charts.style import DAY, MOST_POINTS, NIGHT, ChartStyle, Picture, _ticks, ms, thin
from lineview.charts.svg import to_svg
from lineview.charts.week import loss_picture
from lineview.charts.wrap import wrap_picture
from lineview.core.figure import Period
from lineview.core.language import speak
from lineview.plant import Plant
from lineview.report import show
from tests.board import invented_answers as invented

LOOK = ChartStyle(invented.plant())


@pytest.mark.parametrize("question", invented.ANSWERS)
@pytest.mark.parametrize("look", [LOOK, ChartStyle(invented.plant("US"), NIGHT, narrow=True)], ids=["desk", "phone"])
def test_every_answer_has_a_first_picture_that_serialises(question: str, look: ChartStyle) -> None:
    all_pictures = pictures(invented.ANSWERS[question](), look)
    assert sum(p.first for p in all_pictures) == 1
    assert all(len(p.figure.to_json()) > 500 for p in all_pictures)
    kinds = {trace.type for p in all_pictures for trace in p.figure.data}
    assert kinds <= {"scatter", "bar"}  # no WebGL: it is slower on the panels this runs on


@pytest.mark.parametrize("question", NEEDS)
def test_missing_series_give_no_picture_and_no_error(question: str) -> None:
    answer = invented.ANSWERS[question]()
    assert pictures(replace(answer, series={}), LOOK) == ()
    emptied = {name: frame.clear() for name, frame in answer.series.items()}
    assert pictures(replace(answer, series=emptied), LOOK) == ()


# -- the rope ---------------------------------------------------------------------------------------


def rope_of(deviations: list[float], **more: object):
    answer = invented.rope()
    batches = (
        answer.series["batches"]
        .head(len(deviations))
        .with_columns(
            pl.Series("deviation_mm", deviations), pl.Series("running_h", [float(i) for i in range(len(deviations))])
        )
    )
    return rope_picture(batches, Tolerance(15.0, 14.7, 15.3), LOOK, **more)


def test_rope_is_mirrored_and_magnified_as_its_title_says() -> None:
    picture = rope_of([0.0, 0.1, -0.2])
    lower, upper = (list(trace.y) for trace in picture.figure.data[:2])
    assert lower == [-y for y in upper]
    times = int(picture.title.split("drawn ")[1].split()[0])
    assert upper[1] - upper[0] == pytest.approx(times * 0.1 / 2)
    bands = picture.figure.layout.shapes[:2]
    assert bands[0].y1 - bands[0].y0 == pytest.approx(times * 0.6 / 2)


def test_rope_far_out_of_tolerance_is_still_drawn_outside_its_axis() -> None:
    picture = rope_of([0.0, -0.9, 0.2])
    upper = list(picture.figure.data[1].y)
    assert min(upper) > 0  # it never crosses its own axis
    assert upper[1] < picture.figure.layout.shapes[0].y0 < upper[0]


def test_forecast_is_in_the_call_colour_only_where_a_person_is_needed() -> None:
    fan = invented.rope().series["forecast"]
    calm, called = (rope_of([0.0, 0.1], forecast=fan, call=c).figure.to_json() for c in (False, True))
    assert DAY.call not in calm
    assert "184,70,0" not in calm
    assert DAY.call in called


def test_adjustments_that_stand_close_keep_their_lines_when_words_do_not_fit() -> None:
    close = pl.DataFrame(
        {"running_h": [1.0, 1.01, 9.0], "at": [invented.EARLY.start] * 3, "label": ["pair 1 opened"] * 3}
    )
    picture = rope_of([0.0] * 40, adjustments=close)
    words = [a.text for a in picture.figure.layout.annotations]
    lines = [s for s in picture.figure.layout.shapes if s.type == "line"]
    assert len(lines) == 3
    assert words.count("pair 1 opened") == 2


def test_words_of_people_are_not_read_as_markup() -> None:
    adjustment = pl.DataFrame({"running_h": [1.0], "at": [invented.EARLY.start], "label": ["<a href='x'>pair</a>"]})
    words = [a.text for a in rope_of([0.0] * 40, adjustments=adjustment).figure.layout.annotations]
    assert words == ["&lt;a href='x'&gt;pair&lt;/a&gt;"]


# -- the shift --------------------------------------------------------------------------------------


def test_timeline_draws_each_standing_stretch_once_with_its_own_length() -> None:
    timeline = invented.timeline()
    picture = shift_picture(invented.rate(), timeline, (300, 400), invented.EARLY, LOOK)
    bars = [t for t in picture.figure.data if t.type == "bar"]
    bar_minutes = {bar.name: sum(bar.width) / 60_000 for bar in bars}
    minutes: dict[str, float] = {}
    for row in timeline.iter_rows(named=True):
        if row["state"] in HATCHING:
            kind = UNEXPLAINED if row["state"] == "stop" and row["reason"] is None else row["state"]
            minutes[kind] = minutes.get(kind, 0) + (row["end"] - row["start"]).total_seconds() / 60
    assert bar_minutes == pytest.approx(minutes)
    shapes = [bar.marker.pattern.shape for bar in bars if bar.name != UNEXPLAINED]
    assert len(set(shapes)) == len(shapes)  # told apart without colour
    called = [bar.name for bar in bars if bar.marker.pattern.fgcolor == DAY.call]
    assert called == [UNEXPLAINED]


def test_unseen_time_has_no_line() -> None:
    picture = shift_picture(invented.rate(), invented.timeline(), (300, 400), invented.EARLY, LOOK)
    line = next(t for t in picture.figure.data if t.type == "scatter" and t.line.width > 0)
    unseen = [y for x, y in zip(line.x, line.y, strict=True) if 415 <= (x - ms(invented.EARLY.start)) / 60_000 < 421]
    assert len(unseen) == 6
    assert all(y is None for y in unseen)
    assert not line.connectgaps


def test_night_of_the_autumn_change_has_nine_hours_and_shows_one_twice() -> None:
    start = datetime(2026, 10, 24, 20, tzinfo=UTC)  # 22:00 in Berlin
    ticks = _ticks(start, start + timedelta(hours=9), ChartStyle(Plant(shop="Invented", zone="Europe/Berlin")))
    gaps = [(b[0].timestamp() - a[0].timestamp()) / 3600 for a, b in pairwise(ticks)]
    assert [t.split("<br>")[0] for _, t in ticks][:4] == ["22:00", "23:00", "00:00", "01:00"]
    assert sum(gaps) == 9  # the repeated hour is drawn as long as it was
    assert min(gaps) > 0


# -- wrap and order ---------------------------------------------------------------------------------


def test_wrap_bars_add_up_to_the_use_and_the_axis_says_where_it_starts() -> None:
    causes = invented.wrap().series["causes"]
    picture = wrap_picture(causes, LOOK)
    total = sum(trace.x[0] for trace in picture.figure.data)
    assert total == pytest.approx(63.4)
    start = picture.figure.layout.xaxis.range[0]
    assert start > 0
    assert f"(axis from {start:g})" in picture.figure.layout.xaxis.title.text
    hatched = [t.marker.pattern.shape for t in picture.figure.data if t.marker.pattern.shape]
    assert len(hatched) == 3 == len(set(hatched))


def test_each_cause_is_worded_or_in_the_legend() -> None:
    for narrow in (False, True):
        picture = wrap_picture(invented.wrap().series["causes"], replace(LOOK, narrow=narrow))
        worded = " ".join(a.text for a in picture.figure.layout.annotations)
        for trace in picture.figure.data:
            assert trace.showlegend or trace.name in worded


def test_wrap_in_us_units_is_in_feet() -> None:
    picture = wrap_picture(invented.wrap().series["causes"], ChartStyle(invented.plant("US")))
    assert sum(trace.x[0] for trace in picture.figure.data) == pytest.approx(63.4 / 0.3048)
    assert picture.figure.layout.xaxis.title.text.startswith("feet per thousand")


def test_stock_keeps_a_delivery_as_a_step() -> None:
    fan = invented.order().series["fan"].filter(pl.col("web") == "clear").sort("at", maintain_order=True)
    picture = order_picture(fan, LOOK)
    middle = picture.figure.data[-1]
    rises = [b - a for a, b in pairwise(middle.y) if b > a]
    assert rises == pytest.approx([24.0])
    at = next(i for i, (a, b) in enumerate(pairwise(middle.y)) if b > a)
    assert middle.x[at] == middle.x[at + 1]


@pytest.mark.parametrize("days", [10, 30, 60, 150, 300])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.44, 0.5, 0.66, 0.9])
def test_words_of_a_small_picture_of_stock_neither_meet_nor_leave_it(days: int, share: float) -> None:
    """Two pictures in a row at 1240 px: 480 px each, 410 for the plot; a letter takes some 6.5 px at 12 px of type."""
    start, wide, letter, spare = datetime(2026, 8, 7, tzinfo=UTC), 410.0, 6.5, 14.0
    at = [start + timedelta(days=day) for day in range(days + 1)]
    levels = [60.0 - 50.0 * k / days for k in range(days + 1)]
    fan = pl.DataFrame({"at": at, **dict.fromkeys(("low90", "low50", "mid", "high50", "high90"), levels)})
    arrives = start + timedelta(days=share * days)
    coming = pl.DataFrame({"at": [arrives], "reels": [672.0], "kind": ["advised"]})
    figure = order_picture(fan, LOOK, deliveries=coming, order_by=arrives, first=False).figure
    low, high = figure.layout.xaxis.range
    place = {x: (x - low) / (high - low) * wide for x in figure.layout.xaxis.tickvals}
    texts = [text.split("<br>") for text in figure.layout.xaxis.ticktext]
    ticks = [(place[x], max(map(len, text)) * letter) for x, text in zip(place, texts, strict=True)]
    assert len(ticks) >= 2
    assert all(b - a > (wa + wb) / 2 for (a, wa), (b, wb) in pairwise(ticks)), texts
    for words in figure.layout.annotations:
        x = (words.x - low) / (high - low) * wide + words.xshift
        ends = (x - len(words.text) * letter, x) if words.xanchor == "right" else (x, x + len(words.text) * letter)
        assert ends[0] >= -58 and ends[1] <= wide + spare, words.text


# -- thinning ---------------------------------------------------------------------------------------


def test_thinning_keeps_ends_extremes_and_gaps() -> None:
    count = 50_000
    values: list[float | None] = [350.0 + (i % 7) for i in range(count)]
    values[12_345] = 900.0
    values[23_456] = -5.0
    for i in range(30_000, 33_000):
        values[i] = None
    long = pl.DataFrame({"x": range(count), "y": values})
    short = thin(long, "x", "y")
    assert short.height <= MOST_POINTS
    assert (short["y"].max(), short["y"].min()) == (900.0, -5.0)
    assert (short["x"][0], short["x"][-1]) == (0, count - 1)
    assert short.filter(pl.col("x").is_between(30_000, 32_999))["y"].null_count() > 0
    assert short["x"].is_sorted()
    assert thin(long.head(100), "x", "y").equals(long.head(100))


START = datetime(2026, 6, 12, 13, 30, tzinfo=UTC)


def rows(*parts: tuple[str, float]) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    at = START
    for state, minutes in parts:
        out.append({"state": state, "start": at, "end": (at := at + timedelta(minutes=minutes))})
    return out


def test_short_stops_do_not_part_a_slow_stretch_but_running_does() -> None:
    timeline = rows(("slow", 12), ("short stop", 1), ("slow", 16), ("running", 5), ("slow", 3), ("stop", 8))
    spans = _slow_spans(timeline)
    assert [length / timedelta(minutes=1) for _, length in spans] == [28, 3]
    assert spans[0][0]["end"] - spans[0][0]["start"] == timedelta(minutes=29)


def test_the_slow_label_says_the_minutes_that_the_tables_say() -> None:
    timeline = rows(("slow", 12), ("running", 5), ("slow", 3.5), ("stop", 8))
    ((longest, length),) = _slow(timeline)
    assert (longest["start"], longest["parts"]) == (timeline[0]["start"], 2)
    assert show.minutes(length) == "15.5 min"  # of both, not 12 beside a table's 15.5
    assert _slow(rows(("running", 5))) == []


# -- several shifts ----------------------------------------------------------------------------------


def weeks_timeline(days: int) -> pl.DataFrame:
    """Two hours of 300 a minute, ten minutes of a stop, two hours of 240, from 06:00 of each day on."""
    rows = []
    for day in range(days):
        at = datetime(2026, 6, 8, 4, tzinfo=UTC) + timedelta(days=day)
        for minutes, state, rate in ((120, "running", 300.0), (10, "stop", 0.0), (120, "running", 240.0)):
            end = at + timedelta(minutes=minutes)
            rows.append({"start": at, "end": end, "state": state, "reason": None, "rate_per_min": rate})
            at = end
    return pl.DataFrame(rows)


@pytest.mark.parametrize(("days", "kind", "count"), [(5, "shift", 5), (70, "shift", 50), (120, "week", 18)])
def test_longer_periods_are_strips_that_hold_all_pieces(days: int, kind: str, count: int) -> None:
    """A strip a shift; of more than 62 days with work a strip a week. The area drawn is the pieces of the timeline."""
    timeline = weeks_timeline(days)
    first = datetime(2026, 6, 8, 0, tzinfo=UTC)
    strips = strips_of(timeline, Period(first, first + timedelta(days=days)), LOOK)
    assert (strips[0], len(strips[1])) == (kind, count)
    assert strips[1][0].period == ("2026-06-08.early" if kind == "shift" else "2026-06-08..2026-06-14")
    drawn = strips_picture(timeline, (300.0, 400.0), strips, LOOK, "Cut-and-wrap 1", {"2026-06-08.early": "260"}).figure
    area = next(trace for trace in drawn.data if trace.fill == "toself")
    made = 0.0
    for (x0, y0), (x1, y1) in pairwise(zip(area.x, area.y, strict=True)):
        if None not in (x0, x1) and y0 == y1:
            made += (x1 - x0) * 60 * (y0 % 1 if y0 % 1 > 1e-9 else 0.0) / FILLED * 400
    within = [s.span for s in strips[1]]
    seen = timeline.filter(
        pl.any_horizontal(*((pl.col("start") >= s.start) & (pl.col("end") <= s.end) for s in within))
    )
    minutes = (seen["end"] - seen["start"]).dt.total_minutes()
    assert made == pytest.approx((minutes * seen["rate_per_min"]).sum(), rel=0.005)
    taps = next(trace for trace in drawn.data if trace.orientation == "h")
    assert list(taps.customdata) == [f"period={s.period}" for s in strips[1]]
    assert taps.y[0] > taps.y[-1]  # the oldest at the top
    assert to_svg(Picture("", drawn, 400)).count("<rect") > count


def test_of_one_shift_there_is_no_strip() -> None:
    span = Period(datetime(2026, 6, 8, 4, tzinfo=UTC), datetime(2026, 6, 8, 12, tzinfo=UTC))
    assert len(strips_of(weeks_timeline(3), span, LOOK)[1]) == 1


def test_words_behind_a_bar_of_losses_end_within_a_phones_picture() -> None:
    """A letter of 12 px takes some 6 px; a phone leaves 300 px for the bars."""
    speak("de")
    rows = {"cause": ["changeovers", "stops: jam at knife"], "minutes": [900.0, 620.0], "cost": [6330.0, 4363.0]}
    losses = pl.DataFrame(rows | {"verdict": ["", "worse"], "course": ["", "schlechter über 8 Wochen"]})
    drawn = loss_picture(losses, replace(LOOK, narrow=True)).figure
    words = [note for note in drawn.layout.annotations if note.x > 0]
    assert [note.text for note in words] == ["6.330", "4.363, schlechter über 8 Wochen"]
    for note in words:
        assert 300 * note.x / drawn.layout.xaxis.range[1] + 4 + 6 * len(note.text) <= 300


def test_a_picture_names_webs_and_jumps_in_the_works_language() -> None:
    speak("de")
    rows = {"web": ["film", "wax paper"], "cause": "geometry", "m_per_thousand": [56.0, 50.0]}
    assert wrap_picture(pl.DataFrame(rows), LOOK).figure.layout.yaxis.ticktext == ("Folie", "Wachspapier")
    jump = pl.DataFrame({"running_h": [1.0], "at": [invented.EARLY.start], "label": ["unexplained jump"]})
    wide = rope_of([0.0] * 40, adjustments=jump)
    assert "unerklärter Sprung" in [note.text for note in wide.figure.layout.annotations]
