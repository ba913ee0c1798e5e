"""A works set up by the program's own suggestions alone, and how its answers compare with the truth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from lineview.app.question import read_question
from lineview.app.setup import set_up
from lineview.app.setup_layouts import survey_folder
from lineview.app.works import Works
from lineview.core.figure import Period
from lineview.plant import Machine
from lineview.plant.periods import shifts_between
from tests.simulate.undescribed import TrueShift, Undescribed

#: How far running minutes may be off [min], and by how much more for each second between readings: a stop
#: that is shorter than that is not seen. How far film may be off (a share).
MINUTES_OFF, MINUTES_OFF_A_SECOND, FILM_OFF = 2.0, 0.1, 0.002


@dataclass(frozen=True)
class Judged:
    """What came of it: `verdict` is "right", "asked" or "wrong"; `differs` says where."""

    works: Undescribed
    verdict: str
    questions: int
    differs: tuple[str, ...]


def judged(works: Undescribed, folder: Path) -> Judged:
    """Set a works up and compare pieces, minutes and film of every shift with the truth."""
    folder.mkdir(parents=True)
    shown = set_up(survey_folder([works.folder], "Invented works", works.zone), {})
    asked = len(shown.questions)
    if not shown.text:
        why = [f"open: {q.key} ({q.why})" for q in shown.open] + [str(fault) for fault in shown.faults]
        return Judged(works, "asked", asked, tuple(why))
    (folder / "plant.toml").write_text(shown.text, encoding="utf-8")
    with Works(folder) as opened:
        taken = opened.take([works.folder])
        unread = [f"{t.path.name}: {t.error or 'no layout fits'}" for t in taken if t.receipt is None]
        differs = unread + _differences(opened, works)
    verdict = "right" if not differs and asked <= 5 else "wrong"
    return Judged(works, verdict, asked, tuple(differs))


def _differences(opened: Works, works: Undescribed) -> list[str]:
    plant = opened.plant
    windows = sorted({(t.start, t.end) for t in works.truth})
    zone = ZoneInfo(works.zone)
    between = Period(windows[0][0], windows[-1][1])
    found = {
        (p.start.astimezone(zone), p.end.astimezone(zone)): name
        for name, _, p in shifts_between(plant.shifts, plant.tz, between)
    }
    differs = [f"no shift {a:%a %H:%M} to {b:%H:%M}" for a, b in windows if (a, b) not in found]
    differs += [f"a shift too many: {a:%a %H:%M} to {b:%H:%M}" for a, b in found if (a, b) not in windows]
    if differs:
        return differs
    wrappers = [m for m in plant.machines if m.kind == "cut-and-wrap machine"]
    named = {t.machine: wrappers[0].id for t in works.truth} if works.recipe.unnamed else {}
    if {m.id for m in wrappers} != {named.get(t.machine, t.machine) for t in works.truth}:
        return [f"machines {[m.id for m in wrappers]}"]
    for truth in works.truth:
        machine = next(m for m in wrappers if m.id == named.get(truth.machine, truth.machine))
        differs += _compared(opened, machine, found[truth.start, truth.end], truth, works.recipe.every_s)
    return differs


def _compared(opened: Works, wrapper: Machine, period: str, truth: TrueShift, every_s: float) -> list[str]:
    machine = wrapper.id
    shift = opened.ask(read_question("shift", wrapper.line, machine, period))
    wrap = opened.ask(read_question("wrap", wrapper.line, machine, period))
    figures = {f.name: f for f in (*wrap.figures, *shift.figures)}
    where = f"{machine} {truth.start:%a %H:%M}"
    differs = []

    def held(name: str, value: float, room: float) -> None:
        figure = figures.get(name)
        if figure is None or figure.value is None:
            differs.append(f"{where}: {name} not known: {figure.why_none if figure else 'no figure'}")
            return
        low = (figure.low if figure.low is not None else figure.value) - room
        high = (figure.high if figure.high is not None else figure.value) + room
        if not low <= value <= high:
            differs.append(f"{where}: {name} {figure.value:,.1f} ({low:,.1f} to {high:,.1f}), truth {value:,.1f}")

    held("pieces_made", truth.made, 1.0)
    held("planned_min", truth.planned_min, 0.01)
    room = MINUTES_OFF + MINUTES_OFF_A_SECOND * every_s
    running, slow = figures["running_min"].value, figures["slow_min"].value
    if running is None or slow is None or abs(running + slow - truth.running_min) > room:
        differs.append(f"{where}: running {running} and slow {slow}, truth {truth.running_min:.1f}")
    good, fed = figures["wrap_good_pieces"].value, figures["film_m_per_thousand_fed"].value
    film = None if good is None or fed is None else good * fed / 1000.0
    if film is None or abs(film - truth.film_m) > FILM_OFF * truth.film_m:
        differs.append(f"{where}: film {film} m, truth {truth.film_m:.1f}")
    return differs
