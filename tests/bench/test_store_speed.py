"""How fast the store takes in and gives back, printed as ratios within one run."""

from time import perf_counter

import polars as pl
import pytest

from lineview.core.frames import UTC_US
from lineview.store.store import Store
from tests.store.made import T0, at, export, readings

pytestmark = pytest.mark.bench

ROWS = 300_000
CHANNELS = ("good", "rejects", "film")


def tidy(shift_s: int = 0) -> pl.DataFrame:
    """A reading a second of three counters, a block a counter, as intake gives a wide export."""
    start = int(at(shift_s).timestamp()) * 1_000_000
    row = pl.int_range(2, ROWS + 2, eager=True).alias("row")
    moments = ((row - 2) * 1_000_000 + start).cast(UTC_US).alias("at")
    one = readings([(2, 0, "good", 1.0)]).drop("channel", "at", "value", "row")
    blocks = [
        pl.DataFrame([row, moments]).with_columns(
            *(pl.lit(one[name][0], one.schema[name]).alias(name) for name in one.columns),
            channel=pl.lit(channel),
            value=((row + shift_s) * 6 % 10_000).cast(pl.Float64),
        )
        for channel in CHANNELS
    ]
    return pl.concat(blocks).select(list(readings([]).columns))


def seconds(work):
    start = perf_counter()
    given = work()
    return given, perf_counter() - start


def made(folder, name, frame):
    """An export of many rows whose bytes are small: the store looks at the bytes only to keep them."""
    small = export(folder, name, ("readings", frame.head(1)))
    part = small.parts[0].__class__("readings", frame)
    return small.__class__(**{**small.__dict__, "parts": (part,), "rows": ROWS})


def test_taking_in_against_a_bare_sorted_parquet(tmp_path, capsys):
    frame = tidy()
    _, bare = seconds(lambda: frame.sort("channel", "at").write_parquet(tmp_path / "bare.parquet"))
    with Store.open(tmp_path / "store") as store:
        first, new = seconds(lambda: store.record(made(tmp_path, "a.csv", frame)))
        store.readings("wrap1", at(ROWS // 2 + 9), at(ROWS // 2 + 28_809))
        _, alone = seconds(lambda: store.readings("wrap1", at(ROWS // 2 + 9), at(ROWS // 2 + 28_809)))
        again, repeated = seconds(lambda: store.record(made(tmp_path, "b.csv", tidy())))
        half, overlap = seconds(lambda: store.record(made(tmp_path, "c.csv", tidy(ROWS // 2))))
        shift, warm = seconds(lambda: store.readings("wrap1", at(ROWS // 2 + 9), at(ROWS // 2 + 28_809)))
        whole, total = seconds(lambda: store.readings("wrap1", T0, at(ROWS)))
    assert (first.kept, again.duplicate) == (ROWS, ROWS)
    assert (half.kept, half.duplicate, half.conflicts) == (ROWS // 2, ROWS // 2, 0)
    assert shift.height == 28_800 * len(CHANNELS)
    with capsys.disabled():
        print(
            f"\nstore, {ROWS * 3:,} readings: new {new:.2f} s ({new / bare:.1f} × a bare sorted Parquet file)"
            f", all there already {repeated:.2f} s, half of it {overlap:.2f} s"
            f"; one shift warm {alone * 1000:.0f} ms, told by three exports {warm * 1000:.0f} ms"
            f" ({warm / total:.2f} of reading all {whole.height:,})"
        )
