"""A slow stretch is worded with its whole time, though short stops part it."""

from datetime import UTC, datetime, timedelta

from lineview.charts.shift import _slow_spans

START = datetime(2026, 6, 12, 13, 30, tzinfo=UTC)


def rows(*parts: tuple[str, float]) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    at = START
    for state, minutes in parts:
        out.append({"state": state, "start": at, "end": (at := at + timedelta(minutes=minutes))})
    return out


def test_short_stops_do_not_part_a_slow_stretch_but_running_does() -> None:
    tape = rows(("slow", 12), ("short stop", 1), ("slow", 16), ("running", 5), ("slow", 3), ("stop", 8))
    spans = _slow_spans(tape)
    assert [length / timedelta(minutes=1) for _, length in spans] == [28, 3]
    assert spans[0][0]["end"] - spans[0][0]["start"] == timedelta(minutes=29)
