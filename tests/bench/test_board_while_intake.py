"""The board as it is served, pages opened while three hundred small exports are taken in by it one after the other."""

from pathlib import Path
from shutil import copy2
from statistics import median
from threading import Event, Thread
from time import perf_counter

import pytest

from lineview.app.works import Works
from tests.bench.people import PASSWORD, Browser, Seen, start
from tests.main_job.invented_week import DEMO

EXPORTS = 300
#: What a person waits for at most, at the 95th percentile [s].
LIMIT_S = 1.0
#: How long a person looks at a page before opening the next [s].
READS_S = 0.5
PAGES = ("/shift", "/rope", "/weight", "/wrap", "/shift?machine=wrap2")
LATE = "wrap1_2026-06-12.csv"
LEAD, TECH = "Invented lead", "Invented tech"


def small_exports(folder: Path) -> list[Path]:
    """The last day of one machine as the line would write it every few minutes."""
    lines = (DEMO / "exports" / LATE).read_bytes().splitlines(keepends=True)
    head, rows = lines[:5], [row for row in lines[5:] if row[:1].isdigit()]
    ends = [len(rows) * i // EXPORTS for i in range(EXPORTS + 1)]
    folder.mkdir()
    made = []
    for i in range(EXPORTS):
        path = folder / f"wrap1_2026-06-12_{i:03d}.csv"
        path.write_bytes(b"".join(head + rows[ends[i] : ends[i + 1]]))
        made.append(path)
    return made


@pytest.fixture
def works(tmp_path: Path) -> Path:
    folder = tmp_path / "works"
    folder.mkdir()
    copy2(DEMO / "plant.toml", folder / "plant.toml")
    with Works(folder) as opened:
        taken = opened.take([p for p in sorted((DEMO / "exports").iterdir()) if p.name != LATE])
        assert all(one.receipt is not None for one in taken)
        for name in (LEAD, TECH):
            opened.access.add_user(name, ["see", "note", "take in"], PASSWORD)
    return folder


@pytest.mark.bench
def test_a_page_comes_at_once_while_exports_are_taken_in(works: Path, tmp_path: Path) -> None:
    exports = small_exports(tmp_path / "late")
    board = start(works)
    try:
        seen, sending, end = Seen(), Seen(), Event()
        warm, tech, line = Browser(board, TECH, Seen()), Browser(board, TECH, seen), Browser(board, LEAD, sending)
        for address in PAGES:  # what is imported and worked out with the first answer is not counted
            warm.open(address, 0.0, end)
        intake = Thread(target=lambda: [line.upload(export) for export in exports])
        begun = perf_counter()
        intake.start()
        while intake.is_alive():
            tech.open(PAGES[len(seen.opened) % len(PAGES)], 0.0, end)
            end.wait(READS_S)
        whole_s = perf_counter() - begun
        for one in (warm, tech, line):
            one.connection.close()
    finally:
        board.stop()
    with Works(works) as opened:
        assert opened.store.intakes()["file"].to_list().count(exports[-1].name) == 1
    waits = [s for _, s in seen.opened]
    print(  # the figure is what the test is for
        f"\n{EXPORTS} exports in {whole_s:.0f} s; {len(waits)} pages opened meanwhile: median {median(waits):.2f} s, "
        f"p95 {seen.p95():.2f} s, longest {max(waits):.2f} s; {seen.older} of them as they were before, and said so"
    )
    assert not seen.faults + sending.faults
    assert len(waits) > 20
    assert seen.p95() < LIMIT_S
