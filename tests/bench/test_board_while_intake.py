"""A served board, asked page by page while three hundred small exports are taken in by the same process."""

import json
from http.client import HTTPConnection
from pathlib import Path
from shutil import copy2
from statistics import median, quantiles
from threading import Thread
from time import perf_counter

import pytest

from lineview.app.works import Works
from lineview.board.app import create_app
from lineview.board.serve import open_server
from tests.main_job.invented_week import DEMO

EXPORTS = 300
#: What a person waits for at most, at the 95th percentile [s].
LIMIT_S = 1.0
PAGES = ("/shift", "/rope", "/weight", "/wrap", "/shift?machine=wrap2")
LATE = "wrap1_2026-06-12.csv"


def small_exports(folder: Path) -> list[Path]:
    """The last day of one machine as the line would write it every few minutes."""
    lines = (DEMO / "exports" / LATE).read_bytes().splitlines(keepends=True)
    head, rows = lines[:5], [row for row in lines[5:] if row[:1].isdigit()]
    size = -(-len(rows) // EXPORTS)
    folder.mkdir()
    made = []
    for i in range(EXPORTS):
        path = folder / f"wrap1_2026-06-12_{i:03d}.csv"
        path.write_bytes(b"".join(head + rows[i * size : (i + 1) * size]))
        made.append(path)
    return made


@pytest.fixture
def works(tmp_path: Path):
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    with Works(tmp_path) as opened:
        taken = opened.take([p for p in sorted((DEMO / "exports").iterdir()) if p.name != LATE])
        assert all(one.receipt is not None for one in taken)
        yield opened


@pytest.fixture
def port(works: Works):
    server = open_server(create_app(works), port=0)
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    yield server.effective_port
    server.close()
    thread.join(5)


def page(port: int, path: str) -> tuple[float, str]:
    """Ask for a page as the browser does; give how long it took [s] and its sentence as JSON."""
    pathname, _, search = path.partition("?")
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", "/_dash-dependencies")
    known = json.loads(connection.getresponse().read())
    asked = next(one for one in known if "sentence.children" in one["output"] and "shown.data" in one["output"])
    values = {
        "address.pathname": pathname,
        "address.search": f"?{search}" if search else "",
        "screen.data": {"theme": "day", "narrow": False},
        "version.data": "",
        "shown.data": None,
    }
    places = [part.split(".") for part in asked["output"].strip(".").split("...")]
    body = {
        "output": asked["output"],
        "outputs": [{"id": name, "property": prop} for name, prop in places],
        "inputs": [{**one, "value": values[f"{one['id']}.{one['property']}"]} for one in asked["inputs"]],
        "state": [{**one, "value": values[f"{one['id']}.{one['property']}"]} for one in asked["state"]],
        "changedPropIds": ["address.pathname"],
    }
    begun = perf_counter()
    connection.request("POST", "/_dash-update-component", json.dumps(body), {"Content-Type": "application/json"})
    answered = connection.getresponse()
    content = json.loads(answered.read())
    seconds = perf_counter() - begun
    assert answered.status == 200
    connection.close()
    return seconds, json.dumps(content["response"]["sentence"]["children"])


@pytest.mark.bench
def test_a_page_comes_at_once_while_exports_are_taken_in(works: Works, port: int, tmp_path: Path) -> None:
    exports = small_exports(tmp_path / "late")
    for path in PAGES:  # what is imported with the first answer is not counted
        page(port, path)
    done = []
    intake = Thread(target=lambda: done.extend(works.take(exports)))
    begun = perf_counter()
    intake.start()
    waited: list[float] = []
    sentences = set()
    while intake.is_alive():
        seconds, sentence = page(port, PAGES[len(waited) % len(PAGES)])
        assert "cannot be answered" not in sentence
        assert "could not be made" not in sentence
        waited.append(seconds)
        sentences.add(sentence)
    whole = perf_counter() - begun
    intake.join()
    assert sum(one.receipt.kept for one in done if one.receipt is not None) > 5_000
    p95 = quantiles(waited, n=20)[-1]
    print(  # the figure is what the test is for
        f"\n{EXPORTS} exports in {whole:.0f} s; {len(waited)} pages meanwhile: "
        f"median {median(waited):.2f} s, p95 {p95:.2f} s, longest {max(waited):.2f} s"
    )
    assert len(waited) > 20
    assert len(sentences) > len(PAGES)  # pages followed the exports
    assert p95 < LIMIT_S
