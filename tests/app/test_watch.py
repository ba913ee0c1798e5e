"""Watching a folder: nothing that arrives ends it, and what the store could not take comes in later."""

import json
import os
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from zipfile import ZipFile

import pytest

from lineview.app.watch import LOG, RETRY_FIRST_S, RETRY_MOST_S, Watch, files_not_in
from lineview.app.works import Works
from lineview.board.address import Address
from lineview.board.intake_page import intake_page
from lineview.core.errors import Fault, IntakeError, StoreError
from lineview.core.language import remembered, reworded, speak, tr, tr_count, tr_in

PLANT = """
shop = "An invented works"
[[lines]]
id = "line1"
[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "line1"
[[machines.counters]]
id = "pieces"
counts = "pieces"
fastest_per_min = 450
[[layouts]]
id = "log"
machine = "wrap1"
files = "log-*"
columns = { "count" = { to = "pieces" } }
"""
GOOD = "time,count\n2026-06-09 06:00:00,1\n2026-06-09 06:01:00,351\n"


class Clock:
    def __init__(self):
        self.s = 0.0

    def __call__(self):
        return self.s


@pytest.fixture
def watched(tmp_path):
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "arrivals").mkdir()
    with Works(tmp_path) as works:
        yield works, tmp_path / "arrivals"


def watch_of(works, folder):
    said, clock = [], Clock()
    return Watch(works, folder, said.append, clock), said, clock


def logged(works) -> list[dict]:
    return [json.loads(line) for line in (works.folder / LOG).read_text().splitlines()]


def test_a_file_is_taken_in_once_it_has_stopped_growing(watched):
    works, folder = watched
    watch, said, _ = watch_of(works, folder)
    for grown in range(3):
        (folder / "log-1.csv").write_text(GOOD + "2026-06-09 06:02:00,700\n" * grown)
        assert watch.look() == []
    assert [one.receipt.kept for one in watch.look()] == [3]
    assert watch.look() == watch.look() == []
    assert said == ["log-1.csv: intake 1, 3 rows new, 0 refused"]
    (entry,) = logged(works)
    assert (entry["file"], entry["outcome"], entry["new"]) == ("log-1.csv", "taken in", 3)


def test_neither_pipes_nor_bad_nor_vanishing_files_end_it(watched, monkeypatch):
    works, folder = watched
    watch, said, _ = watch_of(works, folder)
    os.mkfifo(folder / "log-pipe.csv")
    (folder / "log-broken.csv").symlink_to(folder / "nowhere")
    (folder / "log-bad.csv").write_bytes(bytes(range(256)) * 40)
    (folder / "log-gone.csv").write_text(GOOD)
    (folder / "log-good.csv").write_text(GOOD)
    (folder / os.fsdecode(b"log-\xe4\n.csv")).write_text(GOOD + "2026-06-09 06:02:00,700\n")
    watch.look()
    real = works.take

    def take(paths):
        (folder / "log-gone.csv").unlink(missing_ok=True)
        return real(paths)

    monkeypatch.setattr(works, "take", take)
    outcomes = {one.path.name: one for one in watch.look()}
    assert outcomes["log-good.csv"].receipt.kept == 2
    assert outcomes["log-bad.csv"].error is not None
    assert "no such file" in str(outcomes["log-gone.csv"].error)
    assert len(said) == 4
    assert {entry["outcome"] for entry in logged(works)} == {"taken in", "not taken in"}
    assert "log-� .csv" in {entry["file"] for entry in logged(works)} & set(works.store.intakes()["file"])
    assert watch.look() == []


def test_something_unforeseen_in_one_file_leaves_the_others_to_be_taken(watched, monkeypatch):
    works, folder = watched
    watch, _, _ = watch_of(works, folder)
    for name in ("log-1.csv", "log-2.csv"):
        (folder / name).write_text(GOOD + f"2026-06-09 06:02:00,7{name[4]}0\n")
    real = works.take

    def take(paths):
        if any(path.name == "log-1.csv" for path in paths):
            raise ZeroDivisionError("unforeseen")
        return real(paths)

    monkeypatch.setattr(works, "take", take)
    watch.look()
    first, second = watch.look()
    assert "ZeroDivisionError: unforeseen" in str(first.error)
    assert second.receipt.kept == 3


def test_what_the_store_could_not_take_is_tried_again_less_and_less_often(watched, monkeypatch):
    works, folder = watched
    watch, said, clock = watch_of(works, folder)
    (folder / "log-1.csv").write_text(GOOD)
    watch.look()
    tried = []
    with monkeypatch.context() as broken:

        def full(_exports):
            tried.append(clock.s)
            return [StoreError(Fault("could not take it in: no space left on device", "store"))]

        broken.setattr(works.store, "record_all", full)
        for _ in range(3000):
            watch.look()
            clock.s += 1.0
        after_weeks = {path: replace(due, tries=5_000) for path, due in watch._due.items()}
        assert after_weeks
        watch._due = after_weeks
        clock.s += RETRY_MOST_S
        assert watch.look()[0].error is not None
        tried.pop()
    with (works.folder / LOG).open("a", encoding="utf-8") as log:
        log.write('{"at": "2026-')  # half written
    page = str(intake_page(works, works.plant, Address("intake")))
    assert [entry["file"] for entry in files_not_in(works.folder)] == ["log-1.csv"]
    assert "Watched files that are not taken in" in page
    assert "no space left on device" in page
    assert "by itself" in page
    with (works.folder / LOG).open("a", encoding="utf-8") as log:
        log.write("\n")
    gaps = [later - earlier for earlier, later in pairwise(tried)]
    assert gaps[:4] == [RETRY_FIRST_S * 2**tries for tries in range(4)]
    assert max(gaps) == RETRY_MOST_S
    assert "tried again in 10 s" in said[0]
    clock.s += RETRY_MOST_S
    assert [one.receipt.kept for one in watch.look()] == [2]
    assert json.loads((works.folder / LOG).read_text().splitlines()[-1])["outcome"] == "taken in"
    assert files_not_in(works.folder) == []
    assert "Watched files" not in str(intake_page(works, works.plant, Address("intake")))


def test_a_file_that_no_layout_fits_is_taken_once_one_does(watched):
    works, folder = watched
    watch, _, _ = watch_of(works, folder)
    (folder / "other-1.csv").write_text(GOOD.replace("count", "number"))
    watch.look()
    assert watch.look()[0].receipt is None
    assert watch.look() == []
    text = PLANT + '[[layouts]]\nid = "other"\nmachine = "wrap1"\ncolumns = { "number" = { to = "pieces" } }\n'
    (works.folder / "plant.toml").write_text("no plant at all")
    assert watch.look()[0].error is not None
    (works.folder / "plant.toml").write_text(text)
    assert [one.receipt.kept for one in watch.look()] == [2]


def test_a_folder_that_goes_away_and_comes_back_is_watched_on(watched):
    works, folder = watched
    watch, said, _ = watch_of(works, folder)
    folder.rename(folder.with_name("away"))
    assert watch.look() == watch.look() == []
    assert said == [f"{folder} cannot be looked into: there is no such folder"]
    folder.with_name("away").rename(folder)
    (folder / "log-1.csv").write_text(GOOD)
    watch.look()
    assert len(watch.look()) == 1


def test_a_long_log_is_put_aside(watched, monkeypatch):
    works, folder = watched
    watch, _, _ = watch_of(works, folder)
    monkeypatch.setattr("lineview.app.watch.LOG_MOST_BYTES", 200)
    for number in range(4):
        (folder / f"log-{number}.csv").write_text(GOOD + f"2026-06-09 06:02:0{number},700\n")
        watch.look()
        watch.look()
    before = (works.folder / "watch-log-before.jsonl").read_text().splitlines()
    assert [json.loads(line)["file"] for line in before] + [e["file"] for e in logged(works)] == [
        f"log-{number}.csv" for number in range(4)
    ][-len(before) - len(logged(works)) :]


def test_a_log_that_cannot_be_written_does_not_end_it(watched):
    works, folder = watched
    watch, said, _ = watch_of(works, folder)
    Path(works.folder / LOG).mkdir()
    (folder / "log-1.csv").write_text(GOOD)
    watch.look()
    assert watch.look()[0].receipt.kept == 2
    assert "cannot be written" in said[-1]


def test_a_zip_is_noted_once_for_all_the_exports_in_it(watched):
    works, folder = watched
    watch, *_ = watch_of(works, folder)
    with ZipFile(folder / "day.zip", "w") as archive:
        archive.writestr("log-1.csv", GOOD)
        archive.writestr("log-2.csv", "time,count\n2026-06-09 07:00:00,oh\n")
    for _ in range(3):
        watch.look()
    assert works.store.intakes()["file"].to_list()[0] == "log-1.csv"
    assert [entry["file"] for entry in logged(works)] == ["day.zip"]


def test_why_a_file_is_not_in_is_read_in_the_language_of_who_reads_it(watched):
    works, folder = watched
    (works.folder / "plant.toml").write_text('language = "de"\n' + PLANT)
    (folder / "log-1.csv").write_bytes(bytes(range(256)) * 40)
    watch, said, _ = watch_of(works, folder)
    watch.look()
    watch.look()
    (german,) = [entry["why"] for entry in files_not_in(works.folder)]
    assert said == [f"log-1.csv: {german[0]}"]
    assert "ist binär" in german[0]
    (works.folder / "plant.toml").write_text(PLANT)
    assert works.plant.language == "en"
    (english,) = [entry["why"] for entry in files_not_in(works.folder)]
    with pytest.raises(IntakeError) as caught:
        raise works.take([folder / "log-1.csv"])[0].error
    assert str(caught.value.faults[0]).startswith(
        f"{folder / 'log-1.csv'}: the file is binary, not an export; expected "
    )
    assert english == [str(fault) for fault in caught.value.faults]


def test_why_a_file_was_not_in_is_shown_in_the_words_it_was_once_kept_in(watched):
    works, _ = watched
    entry = {"at": "2999-01-01T00:00:00+00:00", "file": "a.csv", "outcome": "not taken in", "why": ["kein Kopf"]}
    lines = [
        json.dumps({**entry, "again_s": None}),
        json.dumps({**entry, "file": "b.csv", "why": [{"what": ["gone"]}]}),
    ]
    (works.folder / LOG).write_text("\n".join(lines))
    assert [(entry["file"], entry["why"]) for entry in files_not_in(works.folder)] == [("a.csv", ["kein Kopf"])]


def test_a_text_is_kept_as_what_it_is_made_of():
    speak("de")
    with remembered() as kept:
        inner = tr_count("{count} reel left", "{count:,} reels left", 1200)
        text = tr("{start} to {end}", start=inner, end="1,234")
        again = json.loads(json.dumps([kept(text), kept(tr_in("of a counter", "made")), kept("typed by hand")]))
        assert kept(tr("{file}", file="same")) == ["tr", ["{file}"], {"file": "same"}]
    german = [text, tr_in("of a counter", "made"), "typed by hand"]
    assert [reworded(part) for part in again] == german
    speak("en")
    assert [reworded(part) for part in again] == ["1,200 reels left to 1,234", "made", "typed by hand"]
