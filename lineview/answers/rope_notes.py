"""The rope answer's notes: what cannot be told, what gauges and rollers show, what exports would add."""

from __future__ import annotations

from lineview.answers.rope_products import product_notes
from lineview.answers.rope_run_rules import run_rules_notes
from lineview.answers.rope_words import length, number
from lineview.measures.rope_account import RopeAccount
from lineview.plant import Plant


def notes_of(account: RopeAccount, plant: Plant) -> tuple[str, ...]:
    """Say what cannot be told, and what other exports would add.

    Parameters
    ----------
    account : RopeAccount
        What was measured.
    plant : Plant
        For its units.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    notes = gauge_words(account) + roller_words(account, plant) + product_notes(account.model)
    if account.marks == "pauses":
        notes.append("Batches were found from pauses of the rope; a batch sheet would give their true marks.")
    if account.marks == "blocks":
        notes.append(
            "Batches are unknown: the rope never pauses and no batch sheet was exported. Blocks of readings "
            "as long as a usual batch stand in for them, so taper and change between batches are not apart."
        )
    if account.clock is not None and account.clock.source == "live gauge readings":
        notes.append(
            "Running hours are the time with live gauge readings; a piece counter of the line, or a rope "
            "counter of the sizer, would show stops that the gauge does not."
        )
    if account.points.height and account.points["temperature_c"].null_count() == account.points.height:
        notes.append(
            "Rope temperature was not exported: slow cooling or warming cannot be separated from wear."
        )
    unknown = account.points["deviation_mm"].null_count() if account.points.height else 0
    if unknown:
        notes.append(f"{unknown} batches name no known product and were left out of the drift.")
    notes += run_rules_notes(account)
    if account.model is not None:
        notes.append(
            "Diameters compare only at one distance after the last roller pair, since rope recovers."
        )
    return tuple(notes)


def gauge_words(account: RopeAccount) -> list[str]:
    """Say what was found wrong with gauges, in words.

    Parameters
    ----------
    account : RopeAccount
        What was measured.

    Returns
    -------
    list of str
        Plain sentences.
    """
    out = []
    for one in account.gauges:
        check, name = one.check, one.gauge.id
        if check.slip:
            out.append(f"Gauge {name} seems to be in {check.slip}, not mm: its readings were not used.")
        elif check.dead:
            out.append(f"Gauge {name} is dead: it stands at {number(check.median_mm or 0.0, 3)}.")
        elif check.frozen:
            out.append(f"Gauge {name} stood still for {check.frozen} readings; they were not used.")
        if check.off_rope:
            out.append(f"{check.off_rope} readings of gauge {name} were too far from any rope; not used.")
    return out


def roller_words(account: RopeAccount, plant: Plant) -> list[str]:
    """Say what gauges and rollers show beside the drift, in words.

    Parameters
    ----------
    account : RopeAccount
        What was measured.
    plant : Plant
        For its units.

    Returns
    -------
    list of str
        Plain sentences.
    """
    out = []
    both = account.agreement
    if both is not None:
        apart = f"{length(both.apart_mm_per_h, plant, signed=True, rate=True)} an hour"
        gap = length(both.difference_mm, plant, signed=True)
        text = f"Gauge {both.second} shows {gap} against gauge {both.first}"
        end = f"and they drift apart by {apart}: the drift may be a gauge's and not the rope's."
        out.append(f"{text}, {end}" if both.wanders else f"{text}; they do not drift apart.")
    out += [
        f"The rope ripples once in {number(one.ripple.period_s, 2)} s, the turning period of roller pair "
        f"{one.pair}: amplitude {length(one.ripple.amplitude, plant, rate=True)}."
        for one in account.ripples
        if one.ripple is not None and one.found
    ]
    for slip in account.slips:
        if slip.low > 0 or slip.high < 0:
            way = "less" if slip.share > 0 else "more"
            out.append(
                f"Roller pair {slip.pair} carries {number(abs(100 * slip.share), 1)} % {way} rope (v·d²) "
                f"than pair {slip.against} draws off: slip, stretch between them, or a diameter that is off."
            )
    return out
