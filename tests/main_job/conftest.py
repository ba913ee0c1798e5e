"""The invented week, taken in once for every test of the main job."""

from collections.abc import Iterator
from pathlib import Path
from shutil import copytree

import polars as pl
import pytest

from lineview.shipped import shipped
from lineview.take_in import Taken
from lineview.works import Works

DEMO = shipped("data") / "demo"


@pytest.fixture(scope="session")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Works]:
    folder = tmp_path_factory.mktemp("works")
    copytree(DEMO, folder, dirs_exist_ok=True)
    with Works(folder) as works:
        works.taken = works.take([folder / "exports"])  # type: ignore[attr-defined]  # kept for the tests
        yield works


@pytest.fixture(scope="session")
def taken(week: Works) -> list[Taken]:
    return week.taken  # type: ignore[attr-defined,no-any-return]  # see above


def truth(name: str) -> pl.DataFrame:
    return pl.read_csv(DEMO / "truth" / f"{name}.csv", try_parse_dates=True)


@pytest.fixture(scope="session")
def truth_folder() -> Path:
    return DEMO / "truth"
