"""Every export of the demo goes through intake by the demo's own layouts, and comes out true."""

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from lineview.intake.exports import Export, Proposal
from lineview.intake.read import read_export
from lineview.plant.read import read_plant


@pytest.fixture(scope="module")
def exports(demo: Path) -> dict[str, Export | Proposal]:
    plant = read_plant(demo / "plant.toml")
    return {f.name: read_export(f, plant) for f in sorted((demo / "exports").iterdir())}


def _tidy(exports: dict[str, Export | Proposal], start: str) -> pl.DataFrame:
    parts = [
        part.tidy
        for name, export in exports.items()
        if name.startswith(start) and isinstance(export, Export)
        for part in export.parts
    ]
    return pl.concat(parts)


def test_each_export_is_read_by_its_own_layout(exports: dict[str, Export | Proposal], demo: Path) -> None:
    plant = read_plant(demo / "plant.toml")
    assert [name for name, e in exports.items() if isinstance(e, Proposal)] == []
    used = {layout for e in exports.values() if isinstance(e, Export) for layout in e.layouts}
    assert used == {layout.id for layout in plant.layouts}


def test_few_rows_are_refused(exports: dict[str, Export | Proposal]) -> None:
    for export in exports.values():
        assert isinstance(export, Export)
        assert export.rows_refused <= max(2, export.rows // 150)


def test_the_fast_clock_is_set_right(exports: dict[str, Export | Proposal], demo: Path) -> None:
    """The second machine's pieces stand still within each true stop, and only then."""
    good = _tidy(exports, "wrap2_").filter(channel="good").unique("at", keep="none").sort("at")
    stops = pl.read_csv(demo / "truth" / "stops.csv", try_parse_dates=True).filter(machine="wrap2")
    assert stops.height > 400
    for start, end in stops.filter(pl.col("seconds") > 60).select("start", "end").iter_rows():
        inside = good.filter(pl.col("at").is_between(start, end))["value"]
        assert len(inside) < 2 or inside.drop_nulls().n_unique() <= 2  # 2: the power cut's zero


def test_the_winter_clock_and_the_millimetres_are_set_right(exports: dict[str, Export | Proposal], demo: Path) -> None:
    gauges = {
        "line1": _tidy(exports, "sizer1_").filter(channel="rope_diameter"),
        "line2": _tidy(exports, "sizer2_").filter(channel="rope_diameter"),
    }
    batches = pl.read_csv(demo / "truth" / "batches.csv", schema_overrides={"start": pl.String, "end": pl.String})
    for line, gauge in gauges.items():
        off = []
        lag = timedelta(seconds=8)
        for row in batches.filter(line=line).iter_rows(named=True):
            start, end = (datetime.fromisoformat(row[c]) - lag for c in ("start", "end"))
            mean = gauge.filter(pl.col("at").is_between(start, end))["value"].mean()
            assert isinstance(mean, float)
            off.append(mean - row["diameter_mm"])
        assert abs(sum(off) / len(off)) < 0.003
        assert max(map(abs, off)) < 0.09


def test_batches_and_weighings_arrive_with_their_units(exports: dict[str, Export | Proposal]) -> None:
    batches = _tidy(exports, "batches_")
    assert batches["line"].unique().sort().to_list() == ["line1", "line2"]
    assert batches["mass_in_kg"].mean() == pytest.approx(22.7, abs=0.05)
    gross, net = _tidy(exports, "weights1_"), _tidy(exports, "weights2_")
    assert gross["gross"].all()
    assert not net["gross"].any()
    assert 6.3 < float(net["mass_g"].mean() or 0.0) < 6.8
