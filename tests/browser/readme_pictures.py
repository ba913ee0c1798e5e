"""Make the README's pictures of the pages, on the invented week: `python -m tests.browser.readme_pictures`."""

from __future__ import annotations

import tempfile
import threading
from pathlib import Path
from shutil import copytree

from playwright.sync_api import sync_playwright

from lineview.app.works import Works
from lineview.board.app import create_app
from lineview.board.serve import address_of, open_server
from tests.browser.conftest import ARGUMENTS, chromium
from tests.main_job.invented_week import DEMO

PICTURES = Path(__file__).parents[2] / "assets" / "pictures"
WIDTH, HEIGHT = 1240, 1080
PAGES = {
    "rope": "/rope",
    "weight": "/weight",
    "shift": "/shift",
    "shift-week": "/shift?period=this-week",
    "wrap": "/wrap",
    "order": "/order",
    "week": "/week",
    "wall": "/wall",
    "bags": "/bags",
    "intake": "/intake",
    "works": "/works",
}
#: Pages that are forms and tables alone.
WITHOUT_PICTURE = ("bags", "intake", "works")


def make() -> None:
    """Serve the week and keep a picture of the first screen of each page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        copytree(DEMO, folder, dirs_exist_ok=True)
        with Works(Path(folder)) as works:
            works.take([Path(folder) / "exports"])
            server = open_server(create_app(works), port=0)
            threading.Thread(target=server.run, daemon=True).start()
            browser = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
            page.set_default_timeout(120_000)
            for name, path in PAGES.items():
                page.goto(address_of(server, "127.0.0.1").rstrip("/") + path)
                page.wait_for_selector(".sentence:not(:empty):not(:has(.waiting))")
                if name not in WITHOUT_PICTURE:
                    page.wait_for_selector("#page .picture")
                page.wait_for_timeout(1500)
                page.screenshot(path=PICTURES / f"{name}.png")
            browser.close()
            server.close()


if __name__ == "__main__":
    make()
