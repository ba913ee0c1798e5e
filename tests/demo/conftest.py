from pathlib import Path

import pytest

from lineview.demo.make import make_demo


@pytest.fixture(scope="session")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's week, written afresh."""
    into = tmp_path_factory.mktemp("works")
    make_demo(into)
    return into
