"""What invented works answer and small exports are said to hold was last written down so; meant changes are anew."""

from pathlib import Path

import pytest

from tests.main_job.kept_answers import SAID, alike, answers_of, read_kept


@pytest.mark.parametrize("name", SAID)
def test_answers_are_those_written_down(name: str, tmp_path: Path) -> None:
    kept, now = read_kept(name), answers_of(name, tmp_path)
    places = [*kept, *(place for place in now if place not in kept)]
    differ = [place for place in places if place not in kept or place not in now or not alike(kept[place], now[place])]
    shown = [f"{place}: was {kept.get(place)!r}, is {now.get(place)!r}" for place in differ[:20]]
    assert not differ, "\n".join(
        [f"{len(differ)} differ; if all are meant: python -m tests.main_job.kept_answers", *shown]
    )
