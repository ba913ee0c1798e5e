"""What people note in the journal of a works."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lineview.app.works import Works
from lineview.core.errors import AskError

PLANT = """\
shop = "Invented Sweets"
zone = "Europe/Berlin"
[[lines]]
id = "1"
[[machines]]
id = "sizer1"
kind = "sizer"
line = "1"
"""


@pytest.fixture
def works(tmp_path: Path):
    (tmp_path / "plant.toml").write_text(PLANT)
    with Works(tmp_path) as opened:
        yield opened


def test_an_adjustment_still_to_come_is_refused_and_not_kept(works):
    with pytest.raises(AskError, match="in the future"):
        works.write("adjustment", "sizer1", datetime.now(UTC) + timedelta(days=30), "pair 3 closed")
    far = datetime.now(UTC) + timedelta(days=400)
    assert works.store.adjustments("sizer1", datetime(2000, 1, 1, tzinfo=UTC), far).is_empty()


def test_an_adjustment_made_just_now_is_kept_though_clocks_differ_a_little(works):
    at = datetime.now(UTC) + timedelta(minutes=5)
    works.write("adjustment", "sizer1", at, "pair 3 closed")
    kept = works.store.adjustments("sizer1", at - timedelta(days=1), at + timedelta(days=1))
    assert kept["what"].to_list() == ["pair 3 closed"]
