"""The board on a season of ten machines, in a browser: first picture, change of period, memory held."""

import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.answers_of import QUESTIONS
from tests.bench.measured import environment

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.browser]

FIRST_PICTURE_S, CHANGE_S, BAR_MB = 1.5, 0.4, 500
LOADS, CHANGES = 3, 3
#: As tests/browser launches it: no request leaves the machine.
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
WHOLE = "2026-01-05..2026-04-03"
SERVE = "from lineview.cli.main import main; main()"
SETTLED = """(before) => {
  const said = document.querySelector('#sentence');
  if (!said || !said.innerText.trim() || said.querySelector('.waiting')) return false;
  if (before && said.innerText === before) return false;
  if (document.querySelector('#answer [data-dash-is-loading="true"]')) return false;
  const drawn = document.querySelector('#answer .main-svg');
  return Boolean(drawn && drawn.getBoundingClientRect().height > 0);
}"""


@dataclass
class Serving:
    """A board in a process of its own."""

    process: subprocess.Popen[str]
    address: str

    def held_mb(self, what: str) -> float:
        """Memory of the board [MB]: VmRSS now, VmHWM at the most."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        return int(status.partition(f"{what}:")[2].split()[0]) / 1024


def serve(works: Path, code: str) -> Serving:
    words = [sys.executable, "-P", "-c", SERVE, "board", "--works", str(works), "--port", "0"]
    process = subprocess.Popen(words, env=environment(code), stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for line in process.stdout:
        if found := re.search(r"http://127\.0\.0\.1:\d+", line):
            return Serving(process, found[0])
    raise RuntimeError("the board did not say its address")


@pytest.fixture(scope="module")
def boards(season) -> Iterator[dict[str, Serving]]:
    serving = {name: serve(works, code) for name, (works, code) in season.items()}
    yield serving
    for one in serving.values():
        one.process.send_signal(signal.SIGINT)
        try:
            one.process.wait(timeout=20)
        except subprocess.TimeoutExpired:  # it measures still
            one.process.kill()
            one.process.wait()
        assert one.process.stdout is not None
        one.process.stdout.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("there is no Chromium on this machine; Debian's package 'chromium' brings it")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


def wait(page: Page, before: str = "", limit_s: float = 120.0) -> float:
    """Seconds until a page stands with its picture, with another sentence than before."""
    begun = time.perf_counter()
    while not page.evaluate(SETTLED, before):
        assert time.perf_counter() - begun < limit_s, "the page does not settle"
        time.sleep(0.005)
    return time.perf_counter() - begun


def first_picture_s(browser: Browser, address: str) -> float:
    """Seconds from an empty cache and a new address to the picture."""
    context = browser.new_context(viewport={"width": 1240, "height": 870})
    page = context.new_page()
    begun = time.perf_counter()
    page.goto(address, wait_until="commit")
    wait(page)
    took = time.perf_counter() - begun
    context.close()
    return took


def change_s(browser: Browser, address: str) -> list[float]:
    """Seconds of some changes of the period, each by the picker's own link to a period not shown yet."""
    context = browser.new_context(viewport={"width": 1240, "height": 870})
    page = context.new_page()
    page.goto(address)
    wait(page)
    links = page.evaluate(
        "[...document.querySelectorAll('#pick-period a:not(.chosen)')].map(a => a.getAttribute('href'))"
    )
    took = []
    for href in links[1 : CHANGES + 1]:
        before = page.inner_text("#sentence")
        begun = time.perf_counter()
        page.evaluate(
            "(href) => [...document.querySelectorAll('#pick-period a')]"
            ".find(a => a.getAttribute('href') === href).click()",
            href,
        )
        wait(page, before)
        took.append(time.perf_counter() - begun)
    context.close()
    return took


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_first_picture_and_a_change_of_period_come_at_once(boards, browser, capsys, question) -> None:
    first: dict[str, list[float]] = {name: [] for name in boards}
    changed: dict[str, list[float]] = {name: [] for name in boards}
    fresh = {}
    for name, board in boards.items():  # what is computed once, and the board's own imports, are of no load
        fresh[name] = first_picture_s(browser, f"{board.address}/{question}?period={WHOLE}")
    for _ in range(LOADS):
        for name, board in boards.items():
            first[name].append(first_picture_s(browser, f"{board.address}/{question}?period={WHOLE}"))
    for name, board in boards.items():
        changed[name] = change_s(browser, f"{board.address}/{question}?period={WHOLE}")
    with capsys.disabled():
        for name in boards:
            changes = ", ".join(f"{s:.2f}" for s in changed[name])
            print(
                f"\nboard, {question}, a season, {name}: very first {fresh[name]:.2f} s, cold load "
                f"{median(first[name]):.2f} s (bar {FIRST_PICTURE_S}), "
                f"change of the period {changes} s (bar {CHANGE_S})"
            )
    assert median(first["now"]) < FIRST_PICTURE_S
    assert median(changed["now"]) < CHANGE_S


def test_the_board_stays_small(boards, browser, capsys) -> None:
    for board in boards.values():
        for question in QUESTIONS:
            first_picture_s(browser, f"{board.address}/{question}?period={WHOLE}")
    with capsys.disabled():
        for name, board in boards.items():
            now, most = board.held_mb("VmRSS"), board.held_mb("VmHWM")
            print(f"\nboard, five pages of a season, {name}: {now:.0f} MB now, {most:.0f} MB at the most")
    assert boards["now"].held_mb("VmHWM") < BAR_MB
