"""The server: own names only, own scripts only, strangers' posts refused, files that no spreadsheet runs."""

import csv
import io
import re
import socket
import struct
from xml.etree import ElementTree

import dash
import polars as pl
import pytest
from flask.testing import FlaskClient

from lineview.app.question import QUESTIONS, read_question
from lineview.board.address import Address
from lineview.board.answer_page import sheet_links
from lineview.board.app import create_app, csv_text
from lineview.board.serve import address_of, open_server
from lineview.charts.render import pictures
from lineview.charts.style import DAY, NIGHT, ChartStyle
from lineview.core.errors import AskError
from tests.board.invented_scene import plant
from tests.board.invented_works import InventedWorks

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def works() -> InventedWorks:
    return InventedWorks()


@pytest.fixture(scope="module")
def client(works: InventedWorks) -> FlaskClient:
    return create_app(works).server.test_client()


def get(client: FlaskClient, path: str, **headers: str):
    answer = client.get(path, headers={"Host": "127.0.0.1:8050", **headers}, buffered=True)
    answer.get_data()  # files are read whole and closed
    answer.close()
    return answer


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost", "[::1]:8050", "LOCALHOST:80"])
def test_it_answers_to_its_own_names(client: FlaskClient, host: str) -> None:
    assert get(client, "/health", Host=host).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "10.0.0.7"])
def test_it_answers_to_no_other_name(client: FlaskClient, host: str) -> None:
    for path in ("/", "/health", "/_dash-layout", "/assets/style.css"):
        assert get(client, path, Host=host).status_code == 403


def test_posts_from_elsewhere_are_refused(client: FlaskClient) -> None:
    for given in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}):
        sent = {"Host": "127.0.0.1:8050", **given}
        assert client.post("/_dash-update-component", json={}, headers=sent).status_code == 403
        assert client.post("/large", data={}, headers=sent).status_code == 403


def test_every_answer_carries_the_headers(client: FlaskClient) -> None:
    for path in ("/", "/shift?line=1", "/health", "/assets/style.css", "/refusals/7.csv"):
        headers = get(client, path).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"


def test_the_document_names_no_other_host_and_holds_no_page(client: FlaskClient) -> None:
    text = get(client, "/").text
    assert 'src="http' not in text
    assert 'href="http' not in text
    assert len(text) < 12_000
    assert "width=device-width" in text
    assert '<html lang="en"' in text


def test_a_shop_with_markup_in_its_name_is_a_text_everywhere() -> None:
    name = "</title><script>alert(7)</script><meta http-equiv=refresh content=0>{%app_entry%}"
    shop = InventedWorks(plant().model_copy(update={"shop": name}))
    client = create_app(shop).server.test_client()
    for path in ("/", "/account", "/large", "/works"):
        text = get(client, path).text
        assert "<script>alert" not in text
        assert "<meta http-equiv=refresh" not in text
    assert "&lt;/title&gt;" in get(client, "/").text
    assert get(client, "/").text.count("react-entry-point") == 1  # a name holds nothing that Dash fills


def test_no_callback_is_global_and_two_boards_do_not_mix(works: InventedWorks) -> None:
    other = InventedWorks()
    one, two = create_app(works), create_app(other)
    assert not dash._callback.GLOBAL_CALLBACK_LIST
    assert set(one.callback_map) == set(two.callback_map)


def test_the_machine_interface_is_off(client: FlaskClient) -> None:
    assert client.post("/_mcp", json={}, headers={"Host": "localhost"}).status_code in (404, 405)


def test_a_callback_may_not_send_more_than_its_limit(client: FlaskClient) -> None:
    sent = client.post(
        "/_dash-update-component",
        data=b"x" * 20_000_001,
        headers={"Host": "localhost", "Content-Type": "application/json"},
    )
    assert sent.status_code == 413


def test_refusals_come_as_csv_in_which_no_cell_is_a_formula(client: FlaskClient) -> None:
    answer = get(client, "/refusals/7.csv")
    assert answer.headers["Content-Disposition"] == "attachment; filename=refusals-7.csv"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [r["text"] for r in rows] == ["'=1+1", "#####"]
    assert [r["row"] for r in rows] == ["2", "3"]


def test_a_pictures_frame_comes_whole_as_csv(client: FlaskClient) -> None:
    answer = get(client, "/rope/batches.csv?line=1&period=this-week")
    assert len(list(csv.DictReader(io.StringIO(answer.text)))) == 341
    assert answer.headers["Content-Disposition"] == "attachment; filename=rope-batches.csv"
    for path in ("/rope/nothing.csv", "/nothing/batches.csv", "/rope/batches.csv?machine=wrap9"):
        assert get(client, path).status_code == 404


@pytest.mark.parametrize("question", ["rope", "weight", "shift", "wrap", "order"])
@pytest.mark.parametrize(("ending", "start"), [("pdf", b"%PDF"), ("xlsx", b"PK"), ("csv", b"\xef\xbb\xbf")])
def test_every_page_comes_as_a_sheet(client: FlaskClient, question: str, ending: str, start: bytes) -> None:
    answer = get(client, f"/{question}.{ending}?line=1")
    assert answer.status_code == 200
    assert answer.data.startswith(start)
    name = rf"attachment; filename={question}-(wrap|sizer)\d-2026-06-0[^ ;]*\.{ending}"
    assert re.fullmatch(name, answer.headers["Content-Disposition"])


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_picture_is_saved_in_the_colours_of_day(client: FlaskClient, works: InventedWorks, question: str) -> None:
    """Each in both forms, on white, with title and period; the PNG has two dots for each pixel of the SVG."""
    drawn = pictures(works.ask(read_question(question, "1")), ChartStyle(plant()))
    for number, picture in enumerate(drawn, 1):
        answers = {end: get(client, f"/{question}/picture-{number}.{end}?line=1") for end in ("svg", "png")}
        names = [answer.headers["Content-Disposition"] for answer in answers.values()]
        end = "" if number == 1 else f"-{number}"
        assert [name.endswith(f"{end}.{form}") for name, form in zip(names, answers, strict=True)] == [True, True]
        root = ElementTree.fromstring(answers["svg"].data)
        texts = " ".join("".join(text.itertext()) for text in root.iter(f"{SVG}text"))
        assert picture.title in texts
        assert "Gorse Lane Sweets · " in texts
        assert next(root.iter(f"{SVG}rect")).get("fill") == DAY.card
        assert NIGHT.ink not in answers["svg"].text
        assert answers["png"].data.startswith(b"\x89PNG")
        size = struct.unpack(">II", answers["png"].data[16:24])
        assert size == (2 * int(root.get("width", "0")), 2 * int(root.get("height", "0")))


def test_there_is_no_picture_beyond_the_last_and_in_no_other_form(client: FlaskClient) -> None:
    name = "attachment; filename=shift-wrap1-2026-06-09-early.png"
    assert get(client, "/shift/picture-1.png").headers["Content-Disposition"] == name
    for path in ("/shift/picture-0.png", "/shift/picture-99.svg", "/shift/picture-1.gif", "/bags/picture-1.png"):
        assert get(client, path).status_code == 404


def test_a_sheet_is_about_what_its_page_is_about(client: FlaskClient, works: InventedWorks) -> None:
    links = str(sheet_links(Address("shift", "1", "wrap1", "2026-06-08.late")))
    assert "/shift.pdf?line=1&machine=wrap1&period=2026-06-08.late" in links
    assert "/shift.csv" not in links
    assert "/order.csv?line=1" in str(sheet_links(Address("order", "1")))
    get(client, "/shift.xlsx?line=1&machine=wrap1&period=2026-06-08.late")
    assert read_question("shift", "1", "wrap1", "2026-06-08.late") in works.asked
    assert get(client, "/shift.pdf?machine=wrap9").status_code == 404
    assert get(client, "/intake.pdf").status_code != 200 or b"%PDF" not in get(client, "/intake.pdf").data


@pytest.mark.parametrize("cell", ["=1", "+1", "-1", "@a", "\t=1", "\r=1"])
def test_cells_that_would_run_are_guarded(cell: str) -> None:
    text = csv_text(pl.DataFrame({"text": [cell]}))
    assert list(csv.reader(io.StringIO(text, newline="")))[1] == [f"'{cell}"]


def test_larger_files_go_by_the_plain_page(client: FlaskClient, works: InventedWorks) -> None:
    assert "multipart/form-data" in get(client, "/large").text
    sent = client.post(
        "/large",
        data={"export": (io.BytesIO(b"time,good\n"), "<b>.csv")},
        headers={"Host": "localhost", "Origin": "http://localhost"},
    )
    assert sent.status_code == 200
    assert "2,878 kept" in sent.text
    assert "<b>" not in sent.text
    assert works.taken[-1][:2] == ("<b>.csv", b"time,good\n")


def test_faults_of_a_larger_file_are_shown(client: FlaskClient) -> None:
    sent = client.post("/large", data={"export": (io.BytesIO(b""), "a.csv")}, headers={"Host": "localhost"})
    assert "the file is empty" in sent.text


def test_a_taken_port_is_a_plain_error() -> None:
    app = create_app(InventedWorks())
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(AskError, match=f"port {port} is taken"):
            open_server(app, port=port)


def test_port_0_takes_a_free_one_and_tells_it() -> None:
    server = open_server(create_app(InventedWorks()), port=0)
    try:
        assert address_of(server, "127.0.0.1") == f"http://127.0.0.1:{server.effective_port}/"
        assert int(server.effective_port) > 0
    finally:
        server.close()
