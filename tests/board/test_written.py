"""What is sent to be written, and the readings behind a figure, asked of the board's own server."""

from __future__ import annotations

from typing import Any

import pytest

from lineview.board.app import create_app
from tests.board.invented_works import InventedWorks

LOCAL = {"Host": "127.0.0.1"}


@pytest.fixture
def works() -> InventedWorks:
    return InventedWorks()


def sent(works: InventedWorks, **body: str) -> Any:
    client = create_app(works).server.test_client()
    return client.post("/written", data=body, headers=LOCAL)


def noted(works: InventedWorks, **more: str) -> Any:
    body = {"act": "write", "kind": "adjustment", "machine": "sizer2", "what": "pair 3 opened", "entry": "e1"}
    return sent(works, **body | {"at": "2026-06-09 14:05"} | more)


@pytest.mark.parametrize("at", ["2026-06-09 14:05", "09.06.2026 14:05", "2026-06-09T14:05"])
def test_a_moment_is_read_in_the_ways_people_write_it(works: InventedWorks, at: str) -> None:
    assert noted(works, at=at).json["said"] == "Saved."
    assert works.wrote[0][2].isoformat() == "2026-06-09T12:05:00+00:00"


def test_a_time_alone_is_of_the_day_it_was_pressed_on_however_late_it_is_sent(works: InventedWorks) -> None:
    assert noted(works, at="10:30", pressed="2026-06-09T09:00:00.000Z").status_code == 200
    assert works.wrote[0][2].isoformat() == "2026-06-09T08:30:00+00:00"


@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("2026-06-09", "'2026-06-09' is a day alone; expected its time of day too, for instance 2026-06-09 06:00"),
        ("9.6.2026", "'9.6.2026' is a day alone; expected its time of day too, for instance 2026-06-09 06:00"),
        ("23:40", "this moment is in the future; expected its day too, for instance 2026-06-08 23:40"),
    ],
)
def test_a_day_or_a_time_alone_is_never_taken_for_another_moment(works: InventedWorks, at: str, said: str) -> None:
    answer = noted(works, at=at, pressed="2026-06-08T22:30:00.000Z")  # half past midnight in Berlin
    assert (answer.status_code, answer.text, works.wrote) == (400, f"when: {said}", [])


def test_the_same_entry_sent_again_is_written_once(works: InventedWorks) -> None:
    assert [noted(works).json["said"] for _ in range(2)] == [
        "Saved.",
        "It was saved already; nothing was written twice.",
    ]
    assert len(works.wrote) == 1


@pytest.mark.parametrize(
    "body", [{"what": " "}, {"what": "x" * 81}, {"at": "soon"}, {"kind": "order"}, {"act": "undo-reason", "mark": "x"}]
)
def test_what_cannot_be_written_is_refused_with_its_reason(works: InventedWorks, body: dict[str, str]) -> None:
    if body.get("act") == "undo-reason":
        body = {"kind": "order", "act": "withdraw"}
    answer = noted(works, **body)
    assert answer.status_code == 400
    assert answer.text
    assert works.wrote == []


def test_readings_name_their_export_and_row(works: InventedWorks) -> None:
    client = create_app(works).server.test_client()
    page = client.get("/readings?machine=wrap1&from=2026-06-09T06:00&to=2026-06-12T06:00", headers=LOCAL)
    assert page.status_code == 200
    assert "wrap1_2026-06-09.csv" in page.text and "sizer2-june.xlsx" in page.text
    assert "1,203" in page.text
    assert "&lt;b&gt;run" in page.text
    assert "The day after" in page.text  # no more than a day is read at once
    for wrong in ("machine=none&from=2026-06-09&to=2026-06-10", "machine=wrap1&from=x&to=y", "machine=wrap1"):
        assert client.get(f"/readings?{wrong}", headers=LOCAL).status_code == 404
