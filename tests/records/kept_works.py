"""A small works whose records are kept: two machines, two shifts on each of four days. All invented."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

FIRST = datetime(2026, 3, 2, tzinfo=UTC)
DAYS = 4
SHIFTS = {"early": 6, "late": 14}
PLANT = """
shop = "Invented Sweets"
zone = "UTC"
currency = "EUR"
gap_s = 120
lines = [{ id = "A" }, { id = "B" }]

[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00

[[shifts]]
id = "late"
start = 14:00:00
end = 22:00:00

[[machines]]
id = "wrapA"
kind = "cut-and-wrap machine"
line = "A"
nominal_per_min = [300, 400]
counters = [{ id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 }]

[[machines]]
id = "wrapB"
kind = "cut-and-wrap machine"
line = "B"
nominal_per_min = [300, 400]
counters = [{ id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 }]
"""
LAYOUT = """
[[layouts]]
id = "counters {line}"
files = "wrap{line}_*.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "count" = {{ to = "pieces" }} }}

[[layouts]]
id = "batch sheet {line}"
kind = "batches"
files = "batches{line}_*.csv"
line = "{line}"
time = "start"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "batch" = {{ to = "batch" }}, "product" = {{ to = "product" }} }}
"""
STAMP = "%Y-%m-%d %H:%M:%S"


def write_plant(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    text = PLANT + "".join(LAYOUT.format(line=line) for line in "AB")
    (folder / "plant.toml").write_text(text, encoding="utf-8")


def shift_start(day: int, shift: str) -> datetime:
    return FIRST + timedelta(days=day, hours=SHIFTS[shift])


def counts_file(folder: Path, line: str, day: int, shift: str, more: int = 0) -> Path:
    """An export of one shift, a reading a minute; `more` pieces are on its counter from the middle on."""
    path = folder / f"wrap{line}_{day}_{shift}_{more}.csv"
    begun = shift_start(day, shift)
    before = (2 * day + list(SHIFTS).index(shift)) * 479 * 350 + 1000 * ord(line)
    rows = ["time,count"]
    for minute in range(480):
        count = (before + 350 * minute + (more if minute >= 240 else 0)) % 65536
        rows.append(f"{begun + timedelta(minutes=minute):{STAMP}},{count}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def sheet_file(folder: Path, line: str, day: int, shift: str) -> Path:
    """A batch sheet of one shift, two batches an hour apart."""
    path = folder / f"batches{line}_{day}_{shift}.csv"
    begun = shift_start(day, shift) + timedelta(hours=2)
    rows = [f"{begun + timedelta(hours=k):{STAMP}},{line}{day}{shift}{k},mint" for k in range(2)]
    path.write_text("\n".join(["start,batch,product", *rows]) + "\n", encoding="utf-8")
    return path
