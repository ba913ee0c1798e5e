"""Scripts, styles and pages are sent compressed to who takes that, the same bytes to who does not."""

from __future__ import annotations

import gzip

import pytest

from lineview.board.app import create_app
from tests.board.invented_works import InventedWorks


@pytest.fixture(scope="module")
def client():
    return create_app(InventedWorks()).server.test_client()


@pytest.mark.parametrize("path", ["/assets/style.css", "/assets/board.js", "/methods", "/shift/frame/timeline.json"])
def test_the_same_bytes_come_compressed_and_plain(client, path: str) -> None:
    plain = client.get(path, buffered=True)
    packed = client.get(path, headers={"Accept-Encoding": "gzip, br"})
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert gzip.decompress(packed.data) == plain.data
    assert int(packed.headers["Content-Length"]) == len(packed.data) < 0.6 * len(plain.data)


def test_what_is_packed_already_or_short_is_sent_as_it_is(client) -> None:
    for path in ("/assets/type/ibm-plex-sans-latin-400-normal.woff2", "/health", "/shift.xlsx", "/no-such-page/x.csv"):
        sent = client.get(path, headers={"Accept-Encoding": "gzip"}, buffered=True)
        assert "Content-Encoding" not in sent.headers


def test_the_first_page_weighs_less_than_1200_kilobytes(client) -> None:
    """All scripts and styles that the document names, as a browser fetches them."""
    import re

    page = client.get("/").text
    links = [link for link in re.findall(r'(?:src|href)="(/[^"]+)"', page) if not link.endswith("/")]
    asked = {"Accept-Encoding": "gzip"}
    sizes = {link: len(client.get(link, headers=asked, buffered=True).data) for link in links}
    print(f"{sum(sizes.values()) / 1000:.0f} kB in {len(sizes)} files")
    assert len(sizes) > 10
    assert sum(sizes.values()) < 1_100_000  # 100 kB are left for the page itself
    assert not any("tables.later" in link for link in links)
