"""A way to read a text as an export of the invented works."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from lineview.intake.detect.sheets import Export
from lineview.intake.read import read_export
from lineview.plant import Layout, Plant
from tests.intake.invented_works import WORKS, adds_up

Reader = Callable[..., Export]


@pytest.fixture
def read(tmp_path: Path) -> Reader:
    """Write text or bytes to a file and read it with a layout."""

    def reader(content: str | bytes, layout: Layout, name: str = "export.csv", plant: Plant = WORKS) -> Export:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        export = read_export(path, plant, layout=layout)
        assert isinstance(export, Export)
        adds_up(export)
        return export

    return reader
