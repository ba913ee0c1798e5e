from pathlib import Path

import pytest

from lineview.demo.make import make_demo


@pytest.fixture(scope="session")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five days of the demo, fresh."""
    into = tmp_path_factory.mktemp("works")
    make_demo(into, days=5, seed=4)
    return into
