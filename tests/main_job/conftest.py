"""The invented week, taken in once for every test of the main job."""

from collections.abc import Iterator
from shutil import copytree

import pytest

from lineview.take_in import Taken
from lineview.works import Works
from tests.main_job.invented_week import DEMO


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
