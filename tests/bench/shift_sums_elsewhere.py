"""The sums of every shift straight from the store's Parquet files, by DuckDB or by pandas.

    python shift_sums_elsewhere.py duckdb|pandas WORKS OUT.csv

For each machine, channel and shift of tests/bench/works_at_scale.py: of counters the counts added between
readings up to 120 s apart and the seconds in which they moved, of gauges the number, mean and standard
deviation of the readings. The last line of standard error says "peak" and the most memory held [kB].
"""

import sys
from pathlib import Path

MODULI = {"pieces": 65536, "rejects": 65536, "blanks": 65536, "film": 65536, "paper": 65536, "rope": 1_000_000}
GAP_S = 120
FILES = "machine=*/month=*/*.parquet"

DUCKDB = """
with cases as (
  select machine, channel, "at", value,
    case channel {moduli} end as modulus,
    date_trunc('day', "at") + (case when hour("at") < 14 then 6 else 14 end) * interval 1 hour as shift
  from read_parquet('{files}', hive_partitioning = true) where quality = 'good'
), steps as (
  select *,
    (value - lag(value) over w + modulus) % modulus as added,
    epoch("at") - epoch(lag("at") over w) as seconds,
    lag(shift) over w as shift_before
  from cases window w as (partition by machine, channel order by "at")
)
select machine, channel, coalesce(shift_before, shift) as shift,
  sum(case when seconds <= {gap} then added end) as added,
  sum(case when seconds <= {gap} and added > 0 then seconds end) as moving_s,
  count(value) as n, avg(value) as mean, stddev_samp(value) as sd
from steps group by all order by all
"""


def by_duckdb(readings: Path, out: str) -> None:
    """Write the sums by DuckDB."""
    import duckdb

    duckdb.sql("set TimeZone = 'UTC'")
    moduli = " ".join(f"when '{name}' then {turn}" for name, turn in MODULI.items())
    query = DUCKDB.format(moduli=moduli, files=readings / FILES, gap=GAP_S)
    duckdb.sql(query).write_csv(out)


def by_pandas(readings: Path, out: str) -> None:
    """Write the sums by pandas."""
    import numpy as np
    import pandas as pd

    columns = ["channel", "at", "value", "quality"]
    parts = [
        pd.read_parquet(path, columns=columns, partitioning=None).assign(
            machine=path.parts[-3].removeprefix("machine=")
        )
        for path in sorted(readings.glob(FILES))
    ]
    rows = pd.concat(parts)
    rows = rows[rows["quality"] == "good"].sort_values(["machine", "channel", "at"])
    hours = np.where(rows["at"].dt.hour < 14, 6, 14)
    rows["shift"] = rows["at"].dt.floor("D") + pd.to_timedelta(hours, unit="h")
    by = rows.groupby(["machine", "channel"], sort=False)
    added = (rows["value"] - by["value"].shift()) % rows["channel"].map(MODULI)
    seconds = (rows["at"] - by["at"].shift()).dt.total_seconds()
    rows["shift"] = by["shift"].shift().fillna(rows["shift"])
    close = seconds <= GAP_S
    rows["added"] = added.where(close)
    rows["moving_s"] = seconds.where(close & (added > 0))
    sums = rows.groupby(["machine", "channel", "shift"]).agg(
        added=("added", "sum"), moving_s=("moving_s", "sum"), n=("value", "count"),
        mean=("value", "mean"), sd=("value", "std"),
    )  # fmt: skip
    sums.to_csv(out)


def main() -> None:
    which, works, out = sys.argv[1:]
    {"duckdb": by_duckdb, "pandas": by_pandas}[which](Path(works) / "store" / "readings", out)
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    print("peak", status.partition("VmHWM:")[2].split()[0], file=sys.stderr)


if __name__ == "__main__":
    main()
