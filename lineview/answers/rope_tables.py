"""The rope answer's tables and the frames for its picture."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lineview.answers.answer import Scope, Table
from lineview.answers.rope_run_rules import run_rules_table
from lineview.answers.rope_sentence import took_out
from lineview.answers.rope_series import watch_table
from lineview.answers.rope_sizers import sizers_table
from lineview.answers.rope_words import length, moment
from lineview.figure import Figure
from lineview.measures.rank_sizers import RankedSizer
from lineview.measures.rope_account import RopeAccount
from lineview.measures.rope_verdict import Effect, Verdict
from lineview.plant import Plant


def rope_tables(
    account: RopeAccount, found: Verdict | None, figures: tuple[Figure, ...], plant: Plant, scope: Scope,
    ranked: tuple[RankedSizer, ...] = (),
) -> tuple[Table, ...]:  # fmt: skip
    """Give the tables below the picture.

    Parameters
    ----------
    account : RopeAccount
        What was measured.
    found : Verdict or None
        The state of the rope.
    figures : tuple of Figure
        The answer's figures.
    plant, scope : Plant, Scope
        For units, zone and the latest moment known.
    ranked : tuple of RankedSizer
        The sizers of the works, soonest first.

    Returns
    -------
    tuple of Table
        "causes", "adjustments", "sizers", "watch", "run_rules", "limits", "gauges" and "rollers", without
        those that would be empty.
    """
    tables = [
        _causes(account, found, {f.name: f for f in figures}, plant, scope),
        _adjustments(found, plant, scope),
        sizers_table(ranked, plant),
        watch_table(account),
        run_rules_table(account),
        _limits(account),
        _gauges(account),
        _rollers(account),
    ]
    return tuple(table for table in tables if table.rows)


def _causes(
    account: RopeAccount, found: Verdict | None, by_name: Mapping[str, Figure], plant: Plant, scope: Scope
) -> Table:
    rows: list[dict[str, Any]] = []
    if account.model is not None and found is not None:
        since = "the last step" if account.model.adjustments else "the first batch"
        when = moment(account.model.since, plant, scope.now)
        sources = {
            "drift_mm_per_h": (
                "wear, an hour of running",
                f"{account.model.n} batches; the pace since {since}, {when}",
            ),
            "batch_to_batch_sd_mm": (
                "one batch to the next",
                f"standard deviation, {account.model.n} batches",
            ),
            "within_batch_sd_mm": (
                "within a batch",
                "standard deviation of readings about each batch's line",
            ),
            "taper_mm": ("from a batch's start to its end", "mean of the batches"),
            "temperature_mm_per_c": (
                f"rope 1 °C{' (1.8 °F)' if plant.units == 'US' else ''} warmer",
                "slope on batch mean temperature",
            ),
        }
        if account.model.kinds is not None:
            other = f", against {account.model.kinds.reference}"
            named = enumerate(account.model.kinds.names, 1)
            sources |= {
                f"product_{i}_mm": (f"{name} batches{other}", "each off its own target") for i, name in named
            }
        for name, (what, source) in sources.items():
            figure = by_name.get(name)
            if figure is not None:
                rows.append(_cause(what, figure, source, plant))
    columns = (
        ("what", "what moves the diameter", ""), ("size", "size", ""), ("interval", "95 % interval", ""),
        ("from", "from", ""),
    )  # fmt: skip
    return Table("causes", "What moves the diameter", columns, rows)


def _cause(what: str, figure: Figure, source: str, plant: Plant) -> dict[str, Any]:
    if not isinstance(figure.value, float):
        return {"what": what, "size": None, "interval": None, "from": figure.why_none}
    signed = figure.name not in ("batch_to_batch_sd_mm", "within_batch_sd_mm")
    low, high = figure.low, figure.high
    told = isinstance(low, float) and isinstance(high, float)
    if told and signed and isinstance(low, float) and isinstance(high, float) and low < 0 < high:
        source += "; cannot be told from zero"

    def size(mm: float) -> str:
        return length(mm, plant, signed=signed, rate=True)

    ends = f"{size(low)} to {size(high)}" if isinstance(low, float) and isinstance(high, float) else None
    return {"what": what, "size": size(figure.value), "interval": ends, "from": source}


def _adjustments(found: Verdict | None, plant: Plant, scope: Scope) -> Table:
    columns = (
        ("at", "when", ""), ("what", "what", ""), ("verdict", "verdict", ""),
        ("before", "off target before", "mm"), ("size", "changed by", "mm"),
        ("low", "95 % from", "mm"), ("high", "to", "mm"),
        ("after", "off target after", "mm"),
    )  # fmt: skip
    rows = [
        {
            "at": effect.at, "what": effect.label, "before": round(effect.before_mm, 4),
            "size": round(effect.size_mm, 4), "low": round(effect.low_mm, 4),
            "high": round(effect.high_mm, 4),
            "after": round(effect.after_mm, 4), "verdict": verdict_words(effect, plant, scope),
        }
        for effect in (found.effects if found else ())
    ]  # fmt: skip
    return Table("adjustments", "Adjustments, and steps that nobody recorded", columns, rows)


def verdict_words(effect: Effect, plant: Plant, scope: Scope) -> str:
    """Say what a step did, in words.

    Parameters
    ----------
    effect : Effect
        What it did.
    plant, scope : Plant, Scope
        For units, zone and the latest moment known.

    Returns
    -------
    str
        Such as "the adjustment of Tuesday 14:05 took out 0.11 mm of 0.13 mm".
    """
    what = "adjustment" if effect.recorded else "unrecorded step"
    name = f"the {what} of {moment(effect.at, plant, scope.now)}"
    if not effect.real:
        return f"{name} changed nothing that can be told from zero"
    if effect.helped and effect.before_mm * effect.size_mm < 0:
        return f"{name} took out {took_out(effect, plant)}"
    way = "up" if effect.size_mm > 0 else "down"
    return f"{name} moved the rope {way} {length(abs(effect.size_mm), plant)}, away from its target"


def _limits(account: RopeAccount) -> Table:
    columns = (
        ("chart", "chart", ""), ("centre", "centre", "mm"), ("low", "low", "mm"), ("high", "high", "mm"),
        ("sd", "standard deviation", "mm"), ("points", "points", ""), ("readings", "readings a point", ""),
        ("outside", "points outside", ""), ("which", "which", ""), ("takes", "takes for granted", ""),
    )  # fmt: skip
    rows = [
        {
            "chart": one.chart, "centre": one.limits.centre, "low": one.limits.low, "high": one.limits.high,
            "sd": one.limits.sd, "points": one.batches, "readings": one.readings, "outside": len(one.outside),
            "which": ", ".join(one.outside[:12]) + (" …" if len(one.outside) > 12 else ""),
            "takes": one.takes,
        }
        for one in account.limits
    ]  # fmt: skip
    return Table("limits", "Control limits, three standard deviations (ISO 7870-2)", columns, rows)


def _gauges(account: RopeAccount) -> Table:
    columns = (
        ("gauge", "gauge", ""), ("used", "used", ""), ("readings", "usable readings", ""),
        ("frozen", "standing still", ""), ("off_rope", "no rope", ""), ("found", "found", ""),
    )  # fmt: skip
    rows = []
    for i, one in enumerate(account.gauges):
        check = one.check
        found = "dead" if check.dead else f"seems to be in {check.slip}" if check.slip else ""
        rows.append(
            {"gauge": one.gauge.id, "used": "yes" if i == 0 and not found else "no",
             "readings": check.usable.height, "frozen": check.frozen, "off_rope": check.off_rope,
             "found": found}
        )  # fmt: skip
    return Table("gauges", "Diameter gauges", columns, rows)


def _rollers(account: RopeAccount) -> Table:
    columns = (
        ("pair", "roller pair", ""), ("turns_s", "turns once in", "s"), ("ripple", "ripple, amplitude", "mm"),
        ("chance", "by chance", ""), ("slip", "flow missing against the last pair", "%"),
        ("low", "95 % from", "%"),
        ("high", "to", "%"), ("found", "found", ""),
    )  # fmt: skip
    rows: dict[int, dict[str, Any]] = {}
    empty = {key: None for key, _, _ in columns}
    for one in account.ripples:
        row = rows.setdefault(one.pair, {**empty, "pair": one.pair})
        row["turns_s"], row["found"] = one.turns_s, one.why_none
        if one.ripple is not None:
            row["ripple"], row["chance"] = one.ripple.amplitude, one.ripple.chance
            row["found"] = "ripple at this pair's turning period" if one.found else "no ripple"
    for slip in account.slips:
        row = rows.setdefault(slip.pair, {**empty, "pair": slip.pair})
        row["slip"], row["low"], row["high"] = 100 * slip.share, 100 * slip.low, 100 * slip.high
    ordered = [rows[pair] for pair in sorted(rows)]
    return Table("rollers", "Roller pairs: ripple at their turning period, and flow v·d²", columns, ordered)
