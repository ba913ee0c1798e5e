"""The page "Works" and the pages that set up: what their forms do, without a browser."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from shutil import copy2

import pytest
from plotly.io.json import to_json_plotly

from lineview.app.works import Works
from lineview.board.address import Address
from lineview.board.app import create_app
from lineview.board.intake_page import intake_sentence, outcome, take_upload
from lineview.board.layout import forms_of
from tests.board.test_board_pages import words_in
from tests.main_job.invented_week import DEMO

HOST = {"Host": "localhost"}


@pytest.fixture
def works(tmp_path: Path) -> Iterator[Works]:
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    with Works(tmp_path) as opened:
        yield opened


def test_a_form_changes_the_file_and_undoes_it(works: Works) -> None:
    client = create_app(works).server.test_client()
    shown = client.get("/works", headers=HOST).text
    assert "Tüpfelau Zuckerwerk (invented) has 4 machines, 9 webs, 8 products." in shown
    sent = {"table": "webs", "part": "wax", "price_per_reel": "10", "who": "Ann"}
    answer = client.post("/works/change", data=sent, headers=HOST)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/works?done=1")
    assert "web wax: price of a reel 9.40 → 10." in client.get("/works?done=1", headers=HOST).text
    assert works.plant.webs[-1].price_per_reel == 10.0
    client.post("/works/undo", data={"number": "1", "who": "Ann"}, headers=HOST)
    assert works.plant.webs[-1].price_per_reel == 9.4


def test_what_cannot_be_saved_stays_typed(works: Works) -> None:
    client = create_app(works).server.test_client()
    sent = {"table": "webs", "part": "wax", "price_per_reel": "<ten>", "who": "Ann"}
    shown = client.post("/works/change", data=sent, headers=HOST).text
    assert "&#39;&lt;ten&gt;&#39; is not a number" in shown
    assert 'value="&lt;ten&gt;"' in shown
    assert works.plant.webs[-1].price_per_reel == 9.4


@pytest.mark.parametrize("name", ["x" * 201, "wax\x1b[31m"])
def test_a_text_is_as_short_and_plain_as_its_field_allows(works: Works, name: str) -> None:
    client = create_app(works).server.test_client()
    before = (works.folder / "plant.toml").read_bytes()
    sent = {"table": "webs", "part": "wax", "name": name, "who": "Ann"}
    assert "or some that nobody sees" in client.post("/works/change", data=sent, headers=HOST).text
    assert (works.folder / "plant.toml").read_bytes() == before


def test_ticked_days_make_the_shift(works: Works) -> None:
    client = create_app(works).server.test_client()
    sent = {
        "table": "shifts",
        "id": "sat",
        "start": "06:00",
        "end": "12:00",
        "days": ["sat", "sun"],
        "breaks": "",
        "who": "A",
    }
    assert client.post("/works/change", data=sent, headers=HOST).status_code == 303
    assert works.plant.shifts[-1].days == ("sat", "sun")


def test_a_page_takes_the_number_that_it_lacks(works: Works) -> None:
    path = works.folder / "plant.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("price_per_reel = 9.40\n", ""), encoding="utf-8")
    works.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
    said = words_in(forms_of(works, Address("wrap"))[1])
    assert "This page lacks 1 thing: price of a reel" in said
    client = create_app(works).server.test_client()
    sent = {"webs/wax/price_per_reel": "9,4", "who": "Ann", "back": "/wrap?line=line1"}
    answer = client.post("/works/fill", data=sent, headers=HOST)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/wrap?line=line1")
    assert words_in(forms_of(works, Address("wrap"))[1]) == ""
    away = client.post("/works/fill", data={"back": "https://elsewhere.example/x"}, headers=HOST)
    assert away.headers["Location"] == "/x"


def test_a_works_without_webs_is_told_to_describe_one(works: Works) -> None:
    path = works.folder / "plant.toml"
    text = path.read_text(encoding="utf-8")
    head, _, layouts = text.partition("# ---------------------------------------------------------------- webs")
    layouts = layouts[layouts.index("# ---------------------------------------------------------------- layouts") :]
    path.write_text(head + layouts, encoding="utf-8")
    said = words_in(forms_of(works, Address("order"))[1])
    assert "This page lacks 2 things: a web, a product" in said
    assert "Describe a web" in said


def test_without_a_description_every_page_leads_to_set_up(tmp_path: Path) -> None:
    with Works(tmp_path, new=True) as works:
        client = create_app(works).server.test_client()
        for path in ("/", "/shift", "/works"):
            answer = client.get(path, headers=HOST)
            assert (answer.status_code, answer.headers["Location"]) == (302, "/setup")
        assert "choose the folder" in client.get("/setup", headers=HOST).text
        assert "no exports were chosen" in client.post("/setup/look", headers=HOST).text
        bad = {"exports": (io.BytesIO(b"\x00\x01"), "log.csv")}
        assert client.post("/setup/look", data=bad, headers=HOST).status_code == 302
        shown = client.get("/setup", headers=HOST).text
        assert "nothing in them counts pieces" in shown
        assert "no machine was recognised" in shown


def test_setting_up_speaks_as_the_browser_asks_and_then_as_was_chosen(tmp_path: Path) -> None:
    german = HOST | {"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}
    with Works(tmp_path, new=True) as works:
        client = create_app(works).server.test_client()
        assert "Richten Sie diesen Betrieb ein" in client.get("/setup", headers=german).text
        assert "Set this works up" in client.get("/setup", headers=HOST | {"Accept-Language": "nl"}).text
        assert "unknown language &#39;xx&#39;" in client.post("/setup", data={"language": "xx"}, headers=HOST).text
        assert "Richten Sie diesen Betrieb ein" in client.post("/setup", data={"language": "de"}, headers=HOST).text
        logs = DEMO / "exports" / "wrap1_2026-06-08.csv"
        assert client.post("/setup/look", data={"path": str(logs)}, headers=HOST).status_code == 302
        shown = client.get("/setup", headers=HOST | {"Accept-Language": "en"}).text
        assert "An 1 Tag zählte 1 Maschine" in shown
        english = client.post("/setup", data={"language": "en", "do": "again"}, headers=german).text
        assert "On 1 day 1 machine counted" in english
        assert "Tag zählte" not in english


def test_the_language_of_the_works_is_changed_and_put_back(works: Works) -> None:
    client = create_app(works).server.test_client()
    before = (works.folder / "plant.toml").read_bytes()
    sent = {"table": "works", "part": "", "language": "de", "zone": "Europe/Vienna", "who": "Ann"}
    assert client.post("/works/change", data=sent, headers=HOST).headers["Location"] == "/works?done=1"
    assert (works.plant.language, works.plant.zone, works.plant.units) == ("de", "Europe/Vienna", "metric")
    shown = client.get("/works?done=1", headers=HOST).text
    assert 'lang="de"' in shown
    assert "hat 4 Maschinen, 9 Bahnen, 8 Produkte." in shown
    assert "Sprache en → de" in shown
    bad = client.post("/works/change", data=sent | {"language": "xx"}, headers=HOST)
    assert (bad.status_code, works.plant.language) == (200, "de")
    client.post("/works/undo", data={"number": "1", "who": "Ann"}, headers=HOST)
    assert (works.folder / "plant.toml").read_bytes() == before


@pytest.mark.parametrize("back", ["//elsewhere.example", "////elsewhere.example/x", "/\\elsewhere.example", "x"])
def test_a_form_never_leads_away_from_the_board(works: Works, back: str) -> None:
    client = create_app(works).server.test_client()
    answer = client.post("/works/fill", data={"back": back}, headers=HOST)
    assert answer.headers["Location"].startswith("/")
    assert "elsewhere" not in answer.headers["Location"]


def test_a_damaged_log_of_changes_leaves_the_page(works: Works) -> None:
    log = works.folder / "plant-changes.jsonl"
    log.write_text("{", encoding="utf-8")
    client = create_app(works).server.test_client()
    answer = client.get("/works", headers=HOST)
    assert answer.status_code == 200
    assert "a change of plant.toml cannot be read" in answer.text
    assert "has 4 machines" in answer.text
    sent = {"table": "webs", "part": "wax", "price_per_reel": "10", "who": "Ann"}
    assert client.post("/works/change", data=sent, headers=HOST).status_code == 200
    assert (works.plant.webs[-1].price_per_reel, log.read_text(encoding="utf-8")) == (9.4, "{")


def test_what_was_written_is_listed_in_the_works_language(works: Works) -> None:
    client = create_app(works).server.test_client()
    sent = {"table": "webs", "part": "wax", "price_per_reel": "10", "who": "Ann"}
    client.post("/works/change", data=sent, headers=HOST)
    assert "plant.toml changed" in client.get("/account", headers=HOST).text
    path = works.folder / "plant.toml"
    path.write_text(path.read_text("utf-8").replace('language = "en"', 'language = "de"'), "utf-8")
    assert "plant.toml geändert" in client.get("/account", headers=HOST).text


def test_an_upload_that_cannot_be_read_is_named_without_the_folder_it_was_held_in(works: Works) -> None:
    upload = take_upload(works, "nothing.csv", lambda path: path.write_bytes(b""))
    assert [str(fault) for fault in upload.faults] == [
        "nothing.csv: the file is empty; expected a header and rows. Export it again."
    ]


STOPS = "Beginn;Ende;Maschine;Grund;Wer\n" + "".join(
    f"13.06.2026 0{hour}:10:00;13.06.2026 0{hour}:1{hour}:30;wrap1;jam at knife;AB\n" for hour in range(6, 10)
)


def test_a_proposed_layout_lists_every_column_that_it_reads(works: Works) -> None:
    offered = take_upload(works, "stops_new.csv", lambda path: path.write_text(STOPS))
    said = words_in(outcome(offered, works.plant))
    assert "Beginn start Maschine machine Ende end Grund reason" in said
    assert "machine start end reason wrap1 Sat 13 June 2026, 06:10:00 Sat 13 June 2026, 06:16:30 jam at knife" in said
    assert "not recognised, left out: Wer" in said


def test_a_layout_accepted_with_a_question_open_is_offered_again_as_it_was_answered(works: Works) -> None:
    rows = "".join(f"0{day}.06.2026 06:00:00;1,{200 + day}\n" for day in range(1, 9))
    chosen = {"machine": "wrap2"}
    given = take_upload(works, "a.csv", lambda path: path.write_text("time;pieces\n" + rows), True, chosen)
    assert len(given.faults) == 1
    assert "which is the decimal mark?" in str(given.faults[0])
    assert given.proposal is not None
    shown = to_json_plotly(outcome(given, works.plant))
    assert '"value":"wrap2"' in shown
    assert "Accept this layout" in shown
    assert works.store.intakes().height == 0


def test_a_layout_that_a_person_has_to_write_cannot_be_accepted(works: Works) -> None:
    rows = "".join(f"2026-06-0{day} 06:00:00;{200 + day}\n" for day in range(1, 9))
    offered = take_upload(works, "a.csv", lambda path: path.write_text("time;xyz\n" + rows))
    said = words_in(outcome(offered, works.plant))
    assert "Write the layout by hand" in said
    assert "Accept this layout" not in said


def test_shifts_worked_out_by_other_clocks_are_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lineview.board.setup_page.computer_zone", lambda: "")
    logs, works_folder = tmp_path / "logs", tmp_path / "works"
    logs.mkdir()
    works_folder.mkdir()
    rows = [
        f"2026-06-{day:02}T{4 + k // 30:02}:{k % 30 * 2:02}:00Z,{(day * 240 + k) * 700}\n"
        for day in range(8, 13)
        for k in range(241)
    ]
    (logs / "wrapper1.csv").write_text("time,pieces\n" + "".join(rows))
    with Works(works_folder, new=True) as works:
        client = create_app(works).server.test_client()
        client.post("/setup/look", data={"path": str(logs)}, headers=HOST)
        shown = client.get("/setup", headers=HOST).text
        assert 'name="s0-start" value="04:00"' in shown
        days = {"s0-days": ["mon", "tue", "wed", "thu", "fri"]}
        sent = {"zone": "Europe/Berlin", "shift-rows": "2", "s0-id": "day", "s0-start": "04:00", "s0-end": "12:00"}
        sent |= {"band-low": "300", "band-high": "400", "do": "finish"}
        again = client.post("/setup", data=sent | days, headers=HOST).text
        assert "days and shifts are worked out anew by the clocks of Europe/Berlin" in again
        assert 'name="s0-start" value="06:00"' in again
        assert not (works_folder / "plant.toml").exists()
        sent |= {"s0-start": "06:00", "s0-end": "14:00"}
        assert client.post("/setup", data=sent | days, headers=HOST).status_code == 302
        assert f"{works.plant.shifts[0].start:%H:%M}" == "06:00"


def test_what_was_undone_does_not_count_as_taken_in(works: Works) -> None:
    works.take([DEMO / "exports" / "wrap1_2026-06-08.csv", DEMO / "exports" / "wrap1_2026-06-09.csv"])
    assert intake_sentence(works.store.intakes()).startswith("2 exports have been taken in")
    works.undo(2)
    assert intake_sentence(works.store.intakes()).startswith("1 export has been taken in")
    works.undo(1)
    assert intake_sentence(works.store.intakes()) == "No export has been taken in yet; upload one below."


def test_what_is_added_does_not_change_what_is_there(works: Works) -> None:
    client = create_app(works).server.test_client()
    form = {"table": "products", "id": "vanilla", "flavour": "Vanilla", "mass_g": "6.9", "mass_tolerance_g": "0.4"}
    form |= {"diameter_mm": "15", "diameter_tolerance_mm": "0.4", "cut_length_mm": "30", "who": "Ann"}
    shown = client.post("/works/change", data=form, headers=HOST).text
    assert "there is a product &#39;vanilla&#39; already" in shown
    assert works.plant.products[0].mass_g == 6.6
    assert client.post("/works/change", data=form | {"id": "mint"}, headers=HOST).status_code == 303
    again = client.post("/works/change", data=form | {"id": "mint"}, headers=HOST)  # a second press of the button
    assert again.headers["Location"] == "/works?done=0"
    assert "Nothing was changed." in client.get("/works?done=0", headers=HOST).text


@pytest.mark.parametrize(
    ("language", "wrong", "ways", "right"),
    [("en", "1,234", "1234 or 1.234", "9.40"), ("de", "1.234", "1234 oder 1,234", "9,40")],
)
def test_a_number_that_can_be_read_in_two_ways_is_asked_about(
    works: Works, language: str, wrong: str, ways: str, right: str
) -> None:
    path = works.folder / "plant.toml"
    text = path.read_text(encoding="utf-8").replace('language = "en"', f'language = "{language}"', 1)
    path.write_text(text, encoding="utf-8")
    client = create_app(works).server.test_client()
    sent = {"table": "webs", "part": "film-vanilla", "price_per_reel": wrong, "who": "Ann"}
    assert ways in client.post("/works/change", data=sent, headers=HOST).text
    before = works.plant.webs[0].price_per_reel
    client.post("/works/change", data=sent | {"price_per_reel": right}, headers=HOST)
    assert (before, works.plant.webs[0].price_per_reel) == (before, 9.4)


def test_a_shift_on_no_day_is_refused_and_its_changes_are_told_in_words(works: Works) -> None:
    client = create_app(works).server.test_client()
    sent: dict[str, object] = {"table": "shifts", "part": "early", "start": "06:00", "end": "14:00", "who": "Ann"}
    assert "days it starts on is missing" in client.post("/works/change", data=sent, headers=HOST).text
    sent |= {"days": ["mon", "tue"], "breaks": "10:00-10:15"}
    client.post("/works/change", data=sent, headers=HOST)
    told = client.get("/works?done=1", headers=HOST).text
    assert "days it starts on Mon, Tue, Wed, Thu, Fri → Mon, Tue," in told
    assert "breaks 09:00-09:15, 11:30-12:00 → 10:00-10:15." in told
