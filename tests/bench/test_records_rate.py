"""Making the records of a season from its readings, beside the same shift sums by DuckDB and by pandas."""

import json
from pathlib import Path

import polars as pl
import pytest

from tests.bench.measured import COMMAND, HERE, Spent, command, interleaved, python
from tests.bench.works_at_scale import LINES

pytestmark = [pytest.mark.bench, pytest.mark.long]

NEEDS = {"duckdb": ("duckdb",), "pandas": ("pandas", "pyarrow")}
TIMES_AS_FAST, BAR_MB = 3.0, 400


def elsewhere(which: str, works: Path, out: Path) -> Spent:
    for name in NEEDS[which]:
        pytest.importorskip(name, reason=f"{name} comes with the extra 'bench'")
    spent = python([HERE / "shift_sums_elsewhere.py", which, works, out])
    assert spent.status == 0, spent.complaint
    return spent


def good_by_shift(sums: Path) -> dict[tuple[str, str], float]:
    """Good pieces of each wrapper and shift, as period words."""
    frame = pl.read_csv(sums, schema_overrides={"added": pl.Float64}).filter(
        pl.col("channel").is_in(["pieces", "rejects"])
    )
    found: dict[tuple[str, str], float] = {}
    for row in frame.iter_rows(named=True):
        day, clock = str(row["shift"])[:10], str(row["shift"])[11:13]
        key = (row["machine"], f"{day}.{'early' if clock == '06' else 'late'}")
        found[key] = found.get(key, 0.0) + (1 if row["channel"] == "pieces" else -1) * (row["added"] or 0.0)
    return found


@pytest.mark.parametrize("which", ["duckdb", "pandas"])
def test_the_sums_elsewhere_are_the_answer_s(season, tmp_path, which) -> None:
    works, code = season["now"]
    elsewhere(which, works, tmp_path / "sums.csv")
    good = good_by_shift(tmp_path / "sums.csv")
    assert len({machine for machine, _ in good}) == len(LINES)
    for machine, shift in list(good)[:: len(good) // 6]:
        spent = command(
            "answer", "shift", "--machine", machine, "--period", shift, "--json", "--works", works, code=code
        )
        figures = json.loads(spent.printed)["figures"]
        shown = figures.get("pieces_good") or figures["good_pieces"]
        assert shown["value"] == pytest.approx(good[machine, shift], abs=3), (machine, shift)


def test_records_are_made_three_times_as_fast_as_elsewhere(season, tmp_path, capsys) -> None:
    works, code = season["now"]
    runs = {name: lambda name=name: elsewhere(name, works, tmp_path / f"{name}.csv") for name in NEEDS}
    there = python(["-c", COMMAND, "records", "--help"], code).status == 0
    if there:
        runs["records"] = lambda: command("records", "--rebuild", "--works", works, code=code)
    took = interleaved(runs, rounds=3 if there else 1)
    with capsys.disabled():
        told = ", ".join(f"{n} {m.cpu_s:.2f} s ({m.peak_mb:.0f} MB)" for n, m in took.items())
        print(f"\nshift sums and records of a season, processor: {told}")
    assert there, "the command line has no 'records --rebuild'"
    for name in NEEDS:
        assert took[name].cpu_s >= TIMES_AS_FAST * took["records"].cpu_s, name
    assert took["records"].peak_mb < BAR_MB
