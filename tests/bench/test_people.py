"""Twenty-five people and four exports a minute on a works of sixty days: how long pages take, and memory."""

import shutil
from datetime import timedelta
from pathlib import Path
from statistics import median, quantiles
from threading import Event, Thread
from time import perf_counter

import pytest

from lineview.app.works import Works
from lineview.store.doctor import examine
from tests.bench.people import PASSWORD, Browser, Load, Seen, memory_slope, start

pytestmark = pytest.mark.bench

PEOPLE, EXPORTS_A_MIN = 25, 4
#: What a person waits for a page at most, at the 95th percentile [s].
LIMIT_S = 1.0
PAGES = [
    "/shift", "/rope", "/weight", "/wrap", "/order", "/week", "/wall", "/intake", "/shift?machine=wrap2",
    "/rope?machine=sizer2", "/weight?machine=wrap2", "/wrap?machine=wrap2", "/wrap?period=last-28-days",
    "/week?period=last-28-days",
]  # fmt: skip
LATE = "wrap1"
#: What two people ask of a season meanwhile.
SEASON = ("/week?period=all", "/rope?period=all")
#: Growth of memory beyond its noise that still counts as none, over minutes in which caches fill.
FLAT_MB_A_MIN = 1.0


def pieces_of(file: Path, folder: Path, count: int) -> list[Path]:
    """An export as the line would write it in so many parts."""
    lines = file.read_bytes().splitlines(keepends=True)
    head, rows = lines[:5], [row for row in lines[5:] if row[:1].isdigit()]
    size = -(-len(rows) // count)
    folder.mkdir()
    made = []
    for i in range(count):
        made.append(folder / f"{file.stem}_{i:03d}.csv")
        made[-1].write_bytes(b"".join(head + rows[i * size : (i + 1) * size]))
    return made


def prepared(works: Path, folder: Path, count: int, journal: str | None = None) -> tuple[list[str], list[Path]]:
    """A works with people, its last export of a machine undone and cut into parts."""
    file = max((works / "exports").glob(f"{LATE}_*.csv"))
    with Works(works, journal) as opened:
        intake = next(one["id"] for one in opened.store.intakes().to_dicts() if one["file"] == file.name)
        opened.undo(intake)
        names = [f"Invented {i}" for i in range(PEOPLE)]
        for name in names:
            opened.access.add_user(name, ["see", "note", "take in"], PASSWORD)
    return names, pieces_of(file, folder, count)


def shifts_of(works: Path, journal: str | None = None) -> list[str]:
    """Addresses of some shifts before the last, which nobody has asked for yet."""
    with Works(works, journal) as opened:
        read = opened.last_reading()
    assert read is not None
    last = read.date()
    days = [last - timedelta(days=n) for n in range(3, 24)]
    return [f"/shift?period={day}.early" for day in days if day.weekday() < 5]


def told(load: Load, name: str) -> tuple[float, float]:
    seen, uploads, samples = load.run()
    slope, noise = memory_slope([(s, mb) for s, mb, _ in samples])
    own = memory_slope([(s, mb) for s, _, mb in samples])
    waits = [s for _, s in seen.opened]
    print(
        f"\n{name}: {PEOPLE} people, {load.lasts_s / 60:.1f} min, {len(uploads)} exports: {len(seen.faults)} errors; "
        f"{len(waits)} pages opened: median {median(waits):.2f} s, p95 {seen.p95():.2f} s, longest {max(waits):.2f} s, "
        f"{seen.older} of them as they were before, and said so; until the newest: median {median(seen.newest):.2f} s, "
        f"p95 {quantiles(seen.newest, n=20)[-1]:.2f} s, {seen.left} left before; "
        f"first answer p95 {quantiles(seen.first, n=20)[-1]:.2f} s; {len(seen.renewed)} renewed: "
        f"p95 {seen.p95('renewed'):.2f} s; "
        f"upload median {median(uploads):.2f} s; memory {samples[-1][1]:.0f} MB, "
        f"{slope:+.2f} MB a minute (noise {noise:.2f}), of which the board's own process {samples[-1][2]:.0f} MB, "
        f"{own[0]:+.2f} a minute (noise {own[1]:.2f})"
    )
    minutes = range(int(samples[-1][0] // 60) + 1)
    by_minute = [[(mb, own) for s, mb, own in samples if s // 60 == minute] for minute in minutes]
    print("  by the minute, in all and its own:", ", ".join(f"{m[0][0]:.0f}/{m[0][1]:.0f}" for m in by_minute))
    worst = sorted(seen.opened, key=lambda one: -one[1])[:5]
    print("  longest:", "; ".join(f"{address} {s:.2f} s" for address, s in worst))
    print("\n".join(seen.faults[:10]))
    assert not seen.faults
    assert len(uploads) == len(load.exports)
    return seen.p95(), own[0] - own[1]


def served_people(demo_60, tmp_path: Path, lasts_s: float, journal: str | None = None) -> tuple[float, float]:
    """The 95th percentile of pages opened [s], and the growth of the board's own process beyond noise [MB a minute].

    The processes that work pages out grow and are replaced, so that over minutes their sum says nothing of a leak.
    """
    works = tmp_path / "works"
    if journal is None:
        shutil.copytree(demo_60["now"][0], works)
    else:
        shutil.copytree(demo_60["now"][0], works, ignore=shutil.ignore_patterns("store"))
        with Works(works, journal) as opened:
            assert all(one.receipt for one in opened.take([works / "exports"]))
    names, exports = prepared(works, tmp_path / "late", int(EXPORTS_A_MIN * lasts_s / 60), journal)
    board = start(works, *(("--journal", journal) if journal else ()))
    try:
        pages = PAGES + PAGES + shifts_of(works, journal)
        measured = told(Load(board, names, pages, exports, lasts_s), journal.partition(":")[0] if journal else "sqlite")
    finally:
        board.stop()
    assert not examine(works / "store", journal)
    return measured


def test_pages_come_at_once_for_twenty_five_people(demo_60, tmp_path: Path) -> None:
    p95, _ = served_people(demo_60, tmp_path, 30.0)
    assert p95 < LIMIT_S


@pytest.mark.long
@pytest.mark.parametrize("where", ["sqlite", "postgresql"])
def test_pages_come_at_once_for_ten_minutes_and_memory_stays(demo_60, tmp_path: Path, where: str, request) -> None:
    journal = request.getfixturevalue("postgresql") if where == "postgresql" else None
    p95, growth = served_people(demo_60, tmp_path, 600.0, journal)
    assert p95 < LIMIT_S
    assert growth < FLAT_MB_A_MIN


@pytest.mark.long
def test_a_season_of_ten_machines_does_not_hold_up_a_shift(season, tmp_path: Path) -> None:
    works = tmp_path / "works"
    shutil.copytree(season["now"][0], works)
    with Works(works) as opened:
        names = ["Invented 0", "Invented 1", "Invented 2"]
        for name in names:
            opened.access.add_user(name, ["see", "note"], PASSWORD)
    board = start(works)
    seen, far, end = Seen(), Seen(), Event()
    try:
        first = Browser(board, names[0], Seen())
        first.open("/shift", 0.0, end)
        buyers = [Browser(board, name, far) for name in names[1:]]
        asked = [Thread(target=one.open, args=(page, 0.0, end)) for one, page in zip(buyers, SEASON, strict=True)]
        for one in asked:
            one.start()
        lead, waits = Browser(board, names[0], seen), []
        for page in shifts_of(works) * 2:
            if not any(one.is_alive() for one in asked):
                break
            begun = perf_counter()
            lead.open(f"{page}&machine=wrap{1 + len(waits) % 5}", 0.0, end)
            waits.append(perf_counter() - begun)
        for one in asked:
            one.join()
        for one in (first, lead, *buyers):
            one.connection.close()
    finally:
        board.stop()
    print(
        f"\na season of ten machines: {', '.join(f'{page} {s:.1f} s' for page, s in far.opened)}; meanwhile "
        f"{len(waits)} shifts: median {median(waits):.2f} s, p95 {quantiles(waits, n=20)[-1]:.2f} s"
    )
    assert not seen.faults + far.faults
    assert len(waits) > 2
    assert quantiles(waits, n=20)[-1] < 2 * LIMIT_S  # none of them was asked for before
