"""The board in a real browser, over hand-written answers."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route

from lineview.app.question import read_question
from lineview.board import written
from tests.board import invented_answers as invented
from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Served

pytestmark = pytest.mark.browser


def test_no_button_sends_a_chart_anywhere(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/shift").drawn()
    board.page.hover(".js-plotly-plot")
    assert board.page.locator(".modebar-btn").count() == 0
    board.page.dblclick(".js-plotly-plot .nsewdrag")
    assert board.page.locator(".plotly-notifier *").count() == 0
    text = board.page.content().casefold()
    assert "share chart" not in text
    assert "chart studio" not in text


def test_the_smaller_bundle_of_charts_is_the_only_one_loaded(serve_board: Served) -> None:
    board = serve_board(InventedWorks())
    scripts: list[str] = []
    board.page.on("request", lambda r: scripts.append(r.url) if "plotly" in r.url else None)
    board.open("/rope").drawn()
    assert {re.sub(r".*/|\?.*", "", url) for url in scripts} == {"plotly-basic.min.js"}
    kept = "performance.getEntriesByType('resource').filter(e => /plotly/.test(e.name)).map(e => e.transferSize > 1000)"
    assert board.page.evaluate(kept).count(True) <= 1  # fetched once, then taken from the browser's own cache


@pytest.mark.parametrize("path", ["/rope", "/order", "/week", "/shift"])
def test_fonts_fetched_early_are_used(serve_board: Served, path: str) -> None:
    page = serve_board(InventedWorks()).open(path).drawn().page
    fetched = page.evaluate("[...document.querySelectorAll('link[rel=preload][as=font]')].map(l => l.href)")
    page.evaluate("document.fonts.ready")
    families = page.evaluate(
        "[...document.fonts].filter(f => f.status == 'loaded').map(f => `${f.family} ${f.weight}`)"
    )
    names = {re.sub(r".*/(.*)-latin-(\d+)-.*", r"\1 \2", url).replace("-", " ") for url in fetched}
    assert len(names) == 3
    assert names <= {family.replace('"', "").casefold() for family in families}


def test_a_folded_picture_is_drawn_when_its_fold_is_opened(serve_board: Served) -> None:
    page = serve_board(InventedWorks()).open("/rope").drawn().page
    folded = page.locator("#working .js-plotly-plot")
    assert folded.count() == 0
    page.click("#working > summary")
    folded.locator(".main-svg").first.wait_for()
    assert folded.count() == page.locator("#working figure").count() > 0


def test_a_page_loads_no_script_that_it_does_not_need(serve_board: Served) -> None:
    board = serve_board(InventedWorks())
    scripts: list[str] = []
    board.page.on("request", lambda r: scripts.append(r.url) if r.resource_type == "script" else None)
    board.open("/rope").drawn()
    assert any("dash_renderer" in url for url in scripts)
    assert not [url for url in scripts if "polyfill" in url or "dash_table" in url]


@pytest.mark.parametrize("path", ["/rope", "/order", "/week", "/shift"])
def test_nothing_jumps_and_the_sentence_waits_for_no_picture(serve_board: Served, path: str) -> None:
    board = serve_board(InventedWorks(), "phone")
    page = board.page
    page.add_init_script("""
      window.jumped = 0;
      new PerformanceObserver(list => {
        list.getEntries().forEach(e => { window.jumped += e.hadRecentInput ? 0 : e.value; });
      }).observe({ type: "layout-shift", buffered: true });
      new MutationObserver(() => {
        const said = document.querySelector("#sentence:not(:empty):not(:has(.waiting))");
        if (said && !window.said) { window.said = true; window.drawer = Boolean(window.Plotly); }
      }).observe(document, { childList: true, subtree: true });
    """)
    board.open(path).drawn()
    page.wait_for_timeout(300)
    print(path, "layout shift", round(page.evaluate("window.jumped"), 4))
    assert page.evaluate("window.jumped") < 0.05
    assert page.evaluate("[window.said, window.drawer]") == [True, False]


def test_pickers_write_the_address_and_back_works(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/shift")
    page = board.page
    page.click("#pick-machine summary")
    page.click("#pick-machine >> text=cut-and-wrap 3")
    page.wait_for_selector("#pick-machine .choice:has-text('cut-and-wrap 3')")
    assert board.path == "/shift?machine=wrap3"
    assert page.locator("#pick-machine[open]").count() == 0
    page.click("#pick-period summary")
    page.click("#pick-period >> text=Mon 8 June, late")
    page.wait_for_selector("#pick-period .choice:has-text('Mon 8 June, late')")
    assert board.path == "/shift?machine=wrap3&period=2026-06-08.late"
    page.click("#pick-line summary")
    page.click("#pick-line >> text=line 2")
    page.wait_for_selector("#pick-line .choice:has-text('line 2')")
    assert board.path == "/shift?line=2&period=2026-06-08.late"  # a machine of line 1 does not go along
    page.click("nav >> text=Wrap")
    page.wait_for_selector("#sentence:has-text('A thousand pieces')")
    assert board.path == "/wrap?line=2&period=2026-06-08.late"
    page.go_back()
    page.wait_for_selector("#sentence:has-text('This shift made')")
    page.go_back()
    page.wait_for_selector("#pick-line .choice:has-text('line 1')")
    assert board.path == "/shift?machine=wrap3&period=2026-06-08.late"


def test_a_link_brings_the_same_page_back(serve_board: Served) -> None:
    works = InventedWorks()
    serve_board(works).open("/rope?line=2&machine=sizer4&period=this-week").drawn()
    assert read_question("rope", "2", "sizer4", "this-week") in works.asked


def test_days_of_ones_own(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/wrap")
    page = board.page
    page.click("#pick-period summary")
    page.fill("#day-from", "2026-06-12")
    page.fill("#day-to", "2026-06-08")
    page.click("#day-show")
    page.wait_for_selector("#day-fault:has-text('after the last')")
    page.fill("#day-from", "8.6.2026")  # as every other form of the board takes it too
    page.fill("#day-to", "2026-06-12")
    page.click("#day-show")
    page.wait_for_selector("#pick-period .choice:has-text('2026-06-08..2026-06-12')")
    assert board.path == "/wrap?period=2026-06-08..2026-06-12"


def test_an_export_is_given_and_its_summary_read(serve_board: Served, tmp_path: Path) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/intake")
    export = tmp_path / "wrap1.csv"
    export.write_bytes(b"time;good\r\n2026-06-09 06:00:00;41220\r\n")
    board.page.set_input_files("#export input[type=file]", export)
    board.page.wait_for_selector("#outcome:has-text('2,878 kept')")
    assert works.taken == [("wrap1.csv", export.read_bytes(), False, {})]
    board.page.click("#outcome >> text=refused rows")
    board.page.wait_for_selector("#refusals:has-text('Refused by intake 7')")
    assert board.path == "/intake?intake=7"


def test_a_layout_is_proposed_asked_about_and_accepted(serve_board: Served, tmp_path: Path) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/intake")
    export = tmp_path / "odd.csv"
    export.write_bytes(b'unknown,Count\n2026-06-09,"1,234"\n')
    board.page.set_input_files("#export input[type=file]", export)
    board.page.wait_for_selector("#outcome:has-text('one thousand or one and a bit')")
    board.page.click("#outcome label:has-text('1234 pieces')")
    board.page.click("text=Accept this layout")
    board.page.wait_for_selector("#outcome:has-text('2,878 kept')")
    assert works.taken[-1] == ("odd.csv", export.read_bytes(), True, {"decimal": "en"})


def test_a_bad_export_gets_a_plain_error(serve_board: Served, tmp_path: Path) -> None:
    board = serve_board(InventedWorks()).open("/intake")
    export = tmp_path / "empty.csv"
    export.write_bytes(b"")
    board.page.set_input_files("#export input[type=file]", export)
    board.page.wait_for_selector("#outcome:has-text('was not taken in'), #outcome:has-text('did not arrive')")


def test_an_intake_is_taken_back_in_two_steps(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/intake")
    board.page.click("summary:text-is('undo this intake') >> nth=0")
    assert works.wrote == []
    board.page.click("button:visible:text-is('Undo intake 7')")
    board.page.wait_for_selector("#outcome:has-text('Intake 7 was undone')")
    assert works.wrote == [("undo", 7)]
    board.settled()
    assert board.page.locator("details.undo[open]").count() <= 1  # no other intake is offered for undoing unasked


def test_a_conflict_names_its_exports_in_local_time_and_is_settled_where_it_stands(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/intake")
    conflicts = "table:has-text('Exports disagree; neither value is used')"
    said = board.page.inner_text(conflicts)
    assert "Tue 9 June, 08:00: 41,220 (intake 6) or 41,222 (intake 7)" in said
    assert "wrap1_2026-06-09.csv (intake 7)" in said
    board.page.click(f"{conflicts} >> summary:text-is('undo intake 7')")
    board.page.click("button:visible:text-is('Undo intake 7')")
    board.page.wait_for_selector("#outcome:has-text('Intake 7 was undone')")
    assert works.wrote == [("undo", 7)]


def test_the_reason_of_a_stop_is_set_and_shown(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/shift").drawn()
    page = board.page
    page.click("#reasons > summary")
    page.click("#set-reason")
    page.wait_for_selector("#reason-told:has-text('Tick at least one stop')")
    page.click("#stops label >> nth=0")
    page.fill("#reason", "film tore")
    page.press("#reason", "Enter")
    page.wait_for_selector("#reason-told:has-text('is set for 1 stop')")
    (kind, machine, start, end, reason) = works.wrote[0]
    assert (kind, machine, reason) == ("reason", "wrap1", "film tore")
    assert (end - start).total_seconds() == 18 * 60
    page.wait_for_selector("#chart-table td:has-text('film tore')", state="attached")
    assert page.input_value("#reason") == "film tore"  # the refresh did not wipe the form
    page.wait_for_selector("#stops label:has-text('18.0 min, film tore')")  # and its stops follow the page's
    assert page.locator("#stops input:checked").count() == 0  # the next reason is not this stop's too


def test_an_adjustment_is_written_down_listed_changed_and_undone(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/rope?line=1")
    page = board.page
    page.click("#adjustment > summary")
    page.fill("#adjustment-at", "2026-03-29 02:30")
    page.fill("#adjustment-what", "pair 3 opened")
    page.click("#adjustment-save")
    page.wait_for_selector("#adjustment-told:has-text('does not exist')")
    assert all("400" in text for text in board.complaints)  # the browser notes the refusal
    board.complaints.clear()
    page.fill("#adjustment-at", "09.06.2026 14:05")
    page.click("#adjustment-save")
    page.wait_for_selector("#adjustment-told:has-text('Saved')")
    assert works.wrote[0][1] == "sizer2"
    assert works.wrote[0][2].isoformat() == "2026-06-09T12:05:00+00:00"
    page.click("#written > summary")
    page.wait_for_selector("#written:has-text('written by Ann')")
    page.click("#written summary:has-text('Change')")
    page.fill("#written label:has-text('What was done') input", "pair 3 closed")
    page.click("#written button:has-text('Save the change')")
    page.wait_for_selector("#written .when + :text('pair 3 closed'), #written p:has-text('pair 3 closed')")
    page.click("#written button:has-text('Remove')")
    page.wait_for_selector("#written del:has-text('pair 3 closed')")  # the fold stays open meanwhile
    assert page.inner_text("#written .told-of") == "Removed; Undo brings it back."  # and it is still said
    page.click("#written button:has-text('Undo')")
    page.wait_for_selector("#written button:has-text('Remove')")
    assert [row["what"] for row in works.entries] == ["pair 3 closed"]


def test_a_form_left_open_is_of_the_moment_it_is_filled_in(
    serve_board: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(written, "FRESH", timedelta(days=100_000))  # the invented readings count as of now
    board = serve_board(InventedWorks())
    page = board.page
    page.clock.install()
    board.open("/rope?line=1")
    page.click("#adjustment > summary")
    page.wait_for_selector("#adjustment[data-now]")
    opened = datetime.fromisoformat(page.input_value("#adjustment-at"))
    page.clock.fast_forward("03:00:00")
    board.until(f"document.getElementById('adjustment-at').value !== '{opened:%Y-%m-%d %H:%M}'")
    later = datetime.fromisoformat(page.input_value("#adjustment-at"))
    assert timedelta(hours=2, minutes=58) <= later - opened <= timedelta(hours=3, minutes=5)
    page.fill("#adjustment-at", "10:30")
    page.fill("#adjustment-what", "pair 3 opened")
    page.clock.fast_forward("00:10:00")
    page.wait_for_timeout(300)
    assert page.input_value("#adjustment-at") == "10:30"  # what somebody wrote stays


def test_a_phone_notes_an_adjustment_in_three_actions_with_targets_for_gloves(serve_board: Served) -> None:
    works = InventedWorks()
    page = serve_board(works, "phone").open("/rope?line=1").page
    page.tap("#adjustment > summary")  # 1
    page.fill("#adjustment-what", "pair 3 opened")  # 2
    page.tap("#adjustment-save")  # 3
    page.wait_for_selector("#adjustment-told:has-text('Saved')")
    assert len(works.wrote) == 1
    for target in ("#adjustment > summary", "#adjustment-what", "#adjustment-at", "#adjustment-save"):
        box = page.locator(target).bounding_box()
        assert box is not None and box["height"] >= 48 and box["width"] >= 48, target
    order = "[...document.querySelectorAll('#adjustment .caution, #adjustment label')].map(e => e.className)"
    assert page.evaluate(order)[0] == "caution"  # before anything is filled in


def test_an_adjustment_made_without_a_connection_is_sent_once_when_it_is_back(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works, "phone").open("/rope?line=1")
    page = board.page
    page.tap("#adjustment > summary")
    page.fill("#adjustment-what", "pair 3 opened")
    page.route("**/written", lambda route: route.abort())
    page.tap("#adjustment-save")
    page.wait_for_selector("#unsent:has-text('pair 3 opened')")
    assert page.input_value("#adjustment-what") == ""
    assert works.wrote == []
    board.open("/shift?line=1")  # it outlives the page
    page.wait_for_selector("#unsent:has-text('Kept on this device')")
    page.unroute("**/written")

    def reply_lost(route: Route) -> None:
        route.fetch()  # the board gets it, and the phone never hears of that
        route.abort()

    page.route("**/written", reply_lost, times=1)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    for _ in range(100):
        if works.wrote:
            break
        page.wait_for_timeout(50)
    page.wait_for_timeout(200)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_selector("#unsent", state="hidden")
    assert [row["what"] for row in works.entries] == ["pair 3 opened"]
    board.complaints = [text for text in board.complaints if "Failed to load resource" not in text]


def test_new_data_keep_folds_scrolling_typing_and_focus(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works, "phone").open("/rope?line=1").drawn()
    page = board.page
    for fold in ("#chart-table", "#working"):
        page.click(f"{fold} > summary")
    page.focus("#working > summary")
    page.evaluate("window.scrollTo(0, 900)")
    page.wait_for_timeout(100)
    row = next(r for r in invented.timeline().iter_rows(named=True) if r["state"] == "stop" and not r["reason"])
    works.set_stop_reason("wrap1", row["start"], row["end"], "said elsewhere")
    works.write("note", "sizer2", row["start"], "noted elsewhere")
    page.wait_for_selector("#written", state="attached")
    assert page.evaluate("['chart-table', 'working'].map(id => document.getElementById(id).open)") == [True, True]
    assert abs(page.evaluate("scrollY") - 900) < 3
    assert page.evaluate("document.activeElement.parentElement.id") == "working"


def test_the_focus_stays_on_a_picker_whose_choice_was_made(serve_board: Served) -> None:
    page = serve_board(InventedWorks()).open("/shift").page
    page.focus("#pick-machine > summary")
    page.keyboard.press("Enter")
    page.focus("#pick-machine .choices a >> text=cut-and-wrap 3")
    page.keyboard.press("Enter")
    page.wait_for_selector("#pick-machine .choice:has-text('cut-and-wrap 3')")
    page.wait_for_timeout(200)
    assert page.evaluate("document.activeElement.parentElement.id") == "pick-machine"


def test_new_data_refresh_the_page_without_being_asked(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works).open("/shift").drawn()
    row = next(r for r in invented.timeline().iter_rows(named=True) if r["state"] == "stop" and not r["reason"])
    works.set_stop_reason("wrap1", row["start"], row["end"], "said elsewhere")
    board.page.wait_for_selector("#chart-table td:has-text('said elsewhere')", state="attached")


def test_new_data_do_not_hold_the_page_up(serve_board: Served) -> None:
    """Dash would ask every component once for every component: half a minute of work on the page of a large works."""
    works = InventedWorks()
    page = serve_board(works, "phone").open("/shift").drawn().page
    parts = page.evaluate("document.querySelectorAll('#answer *:not(svg *)').length")
    page.evaluate("window.asked = 0; void window.dash_stores[0].subscribe(() => { window.asked += 1; })")
    row = next(r for r in invented.timeline().iter_rows(named=True) if r["state"] == "stop" and not r["reason"])
    works.set_stop_reason("wrap1", row["start"], row["end"], "said elsewhere")
    page.wait_for_selector("#chart-table td:has-text('said elsewhere')", state="attached")
    page.wait_for_timeout(500)
    assert parts > 300
    assert 0 < page.evaluate("window.asked") < 120  # a reset only where something is kept to be reset


def test_night_follows_the_system_and_can_be_switched_and_is_remembered(serve_board: Served) -> None:
    board = serve_board(InventedWorks(), dark=True).open("/rope").drawn()
    ground = "getComputedStyle(document.body).backgroundColor"
    ink = "document.querySelector('.xtick text')?.style.fill"
    assert board.page.evaluate(ground) == "rgb(17, 23, 27)"
    assert board.page.evaluate(ink) == "rgb(237, 232, 220)"
    board.page.click("#theme")
    board.until(f"{ink} === 'rgb(28, 43, 51)'")
    assert board.page.evaluate(ground) == "rgb(250, 248, 243)"
    board.page.reload()
    board.settled().drawn()
    assert board.page.evaluate(ground) == "rgb(250, 248, 243)"


def test_no_cell_is_cut_off_on_a_phone(serve_board: Served) -> None:
    page = serve_board(InventedWorks(), "phone").open("/rope?line=1").page
    page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true; })")
    cut = """[...document.querySelectorAll('.table.cards td')].filter(cell => cell.offsetParent !== null
        && (cell.getBoundingClientRect().right > innerWidth || cell.scrollWidth > cell.clientWidth + 1)).length"""
    assert page.locator(".table.cards td").count() > 20
    assert page.evaluate(cut) == 0


def stop_drawn(page: Page, nth: int) -> tuple[float, float]:
    """Where a stop without a reason stands on the timeline, in pixels of the window, once it stands still."""
    box = page.evaluate(
        """async nth => {
          const place = () => {
            const bars = document.querySelector('.js-plotly-plot').data.filter(trace => trace.type === 'bar');
            const at = bars.findIndex(trace => trace.name === 'stop, reason not set');
            const drawn = document.querySelectorAll('.barlayer .trace.bars')[at];
            const box = drawn.querySelectorAll('.point path')[nth].getBoundingClientRect();
            return [box.x + box.width / 2, box.y + box.height / 2];
          };
          for (let before = null, now = place(); ; before = now, now = place()) {
            if (before && before[0] === now[0] && before[1] === now[1]) { return now; }
            await new Promise(done => setTimeout(done, 200));
          }
        }""",
        nth,
    )
    return box[0], box[1]


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_stop_is_tapped_on_the_timeline_and_gets_its_reason_in_two_actions(serve_board: Served, size: str) -> None:
    works = InventedWorks()
    board = serve_board(works, size).open("/shift").drawn()
    page = board.page
    page.wait_for_selector("#reasons", state="attached")
    board.until("[...document.querySelectorAll('.js-plotly-plot')].some(graph => graph.takesTaps)")
    across, down = stop_drawn(page, 0)
    (page.touchscreen.tap if size == "phone" else page.mouse.click)(across, down)  # 1
    page.wait_for_selector("#reasons[open]")
    page.wait_for_selector("#stops-ticked:has-text('Ticked: Tue 9 June')")
    ink = "getComputedStyle(document.querySelector('{}')).color"
    ticked, text = (page.evaluate(ink.format(part)) for part in ("#stops .selected span", "body"))
    assert ticked == text  # legible at night too
    board.until("""(() => {
      const list = document.querySelector('#stops').getBoundingClientRect();
      const box = document.querySelector('#stops input:checked')?.getBoundingClientRect();
      return box && box.top >= list.top && box.bottom <= list.bottom;
    })()""")  # the list shows what was ticked
    page.click("#reasons .offered >> text=film tore")  # 2
    page.wait_for_selector("#reason-told:has-text('is set for 1 stop')")
    row = next(r for r in invented.timeline().iter_rows(named=True) if r["state"] == "stop" and not r["reason"])
    assert works.wrote[0][2:] == (row["start"], row["end"], "film tore")


def test_all_stops_alike_get_one_reason_in_three_actions(serve_board: Served) -> None:
    works = InventedWorks()
    alike = [row["start"] for row in invented.timeline().iter_rows(named=True) if row["state"] == "short stop"]
    works.reasons = dict.fromkeys(alike, "")  # none of them has a reason
    page = serve_board(works).open("/shift").page
    page.click("#reasons > summary")  # 1
    page.click(f"#reasons >> text=Tick all {len(alike)} short stops")  # 2
    page.wait_for_selector(f"#stops-ticked:has-text('{len(alike)} stops are ticked.')")
    page.click("#reasons .offered >> text=jam at knife")  # 3
    page.wait_for_selector(f"#reason-told:has-text('is set for {len(alike)} stops')")
    assert works.wrote == [("reasons", "wrap1", len(alike), "jam at knife")]
    page.wait_for_selector(f"#stops label:has-text('jam at knife') >> nth={len(alike) - 1}")
    assert page.locator("#reasons >> text=short stops without a reason").count() == 0


@pytest.mark.parametrize(
    ("size", "dark", "way"), [("desk", True, "keyboard"), ("desk", False, "mouse"), ("phone", True, "touch")]
)
def test_a_picture_is_saved(serve_board: Served, size: str, dark: bool, way: str) -> None:
    page = serve_board(InventedWorks(), size, dark=dark).open("/shift").drawn().page
    links = page.locator(".picture .saves a")
    assert links.all_inner_texts() == ["Save as PNG", "Save as SVG"]
    for at, start in ((0, b"\x89PNG"), (1, b"<svg ")):
        link = links.nth(at)
        box = link.bounding_box()
        assert box is not None
        assert box["height"] >= (44 if size == "phone" else 24)
        with page.expect_download() as saved:
            if way == "keyboard":
                link.focus()
                page.keyboard.press("Enter")
            else:
                link.tap() if way == "touch" else link.click()
        ending = "png" if at == 0 else "svg"
        assert saved.value.suggested_filename == f"shift-wrap1-2026-06-09-early.{ending}"
        assert Path(saved.value.path()).read_bytes().startswith(start)
