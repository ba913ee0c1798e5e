"""The wrap answer's tables: use by cause and by product, the views of it, the reels, and the claim to a supplier."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import polars as pl

from lineview.core.estimate import K
from lineview.core.language import mark, tr, tr_count
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Span, Table, columns_of
from lineview.wrap.account import PerThousand, WrapAccount, per_thousand
from lineview.wrap.figures import unit_words
from lineview.wrap.reconcile import WrongLabel
from lineview.wrap.use import CAUSES, UNITS

CAUSE_SERIES = {
    "web": pl.String(),
    "cause": pl.String(),
    "m_per_thousand": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "assumed": pl.Boolean(),
}


def use_table(account: WrapAccount, currency: str) -> Table:
    """Give use per thousand by kind and cause, in every unit."""
    rows: list[dict[str, Any]] = []
    for use in account.uses:
        for part in ("", *CAUSES):
            row: dict[str, Any] = {"web": use.kind, "what": part or mark("total")}
            amounts = {unit: per_thousand(use, part, unit) for unit in UNITS}
            if amounts["m"] is None:
                continue
            cause = use.cause(part)
            row |= {unit: None if t is None else t.value for unit, t in amounts.items()}
            row |= {"low": amounts["m"].low, "high": amounts["m"].high}
            row["basis"] = mark("assumed") if cause is not None and cause.is_assumed else ""
            row["working"] = amounts["m"].working
            rows.append(row)
    rows += [_fed_alone(kind, amounts) for kind, amounts in account.fed_alone.items()]
    units = [(unit, tr("per thousand pieces"), unit_words(unit, currency)) for unit in UNITS]
    columns = (*columns_of("web; what"), *units, *columns_of("low: from [m]; high: to [m]; basis; working"))
    return Table("use", tr("Use per thousand good pieces"), columns, rows)


def _fed_alone(kind: str, amount: PerThousand) -> dict[str, Any]:
    """The row of a web that plant.toml does not describe: what its counter fed, and nothing else."""
    row = dict.fromkeys(UNITS) | {"web": kind, "what": mark("fed by the counter"), "m": amount.value}
    return row | {"low": amount.low, "high": amount.high, "basis": "", "working": amount.working}


def product_table(account: WrapAccount, plant: Plant, currency: str) -> Table:
    """Use per thousand by product, where batches name products."""
    metres = ("m", "geometry", "fed", "difference")
    rows: list[dict[str, Any]] = []
    for product, use in account.by_product:
        entry = plant.product(product) if product else None
        row: dict[str, Any] = {
            "product": entry.flavour if entry is not None else product or mark("not known"),
            "web": use.kind,
            "good": round(use.good),
        }
        for key in metres:
            amount = per_thousand(use, "" if key == "m" else key, "m")
            row[key] = None if amount is None else amount.value
        for unit in UNITS[1:]:
            amount = per_thousand(use, "", unit)
            row[unit] = None if amount is None else amount.value
        rows.append(row)
    units = [(unit, tr("per thousand pieces"), unit_words(unit, currency)) for unit in UNITS[1:]]
    first_columns = columns_of(
        "product; web; good: good pieces [pieces]; m: per thousand pieces [m]; geometry [m]; fed [m]; difference [m]"
    )
    title = tr("Use per thousand good pieces, by product")
    return Table("products", title, (*first_columns, *units), rows, to_hundredths=metres)


def view_table(account: WrapAccount) -> Table:
    """The views of the same metres beside each other, and reconciled."""
    rows: list[dict[str, Any]] = []
    for views in account.views:
        for total in views.totals:
            row = {"web": views.kind, "view": total.view, "metres": total.metres, "doubt": K * total.sd}
            rows.append(row | {"adjustment": total.adjustment, "reels": views.reels})
        row = {"web": views.kind, "view": mark("reconciled"), "metres": views.reconciled_m}
        rows.append(row | {"doubt": K * views.reconciled_sd_m, "adjustment": None, "reels": views.reels})
    columns = columns_of(
        "web; view; metres: length [m]; doubt: ± (k = 2) [m]; adjustment: adjusted by [m]; "
        "reels: reels compared [reels]"
    )
    return Table("views", tr("Same use measured three ways"), columns, rows)


def reel_table(account: WrapAccount) -> Table:
    """Each reel: when it was mounted, the length on its label, the rest and the metres fed."""
    wrong = {(w.kind, w.reel): verdict(w) for views in account.views for w in views.wrong}
    rows = [
        {
            "reel": span.reel,
            "web": span.web,
            "mounted": span.mounted,
            "taken_off": span.taken_off,
            "label": span.label_m,
            "held": span.held_m,
            "left": span.left_m,
            "drawn": span.unwound_m,
            "fed": None if span.fed is None else span.fed.number,
            "splices": span.splices,
            "rest_of": "" if span.origin == span.reel else span.origin,
            "verdict": wrong.get((span.kind, span.origin), ""),
        }
        for span in account.reels
    ]
    columns = columns_of(
        "reel; web; mounted; taken_off: taken off; label [m]; held: held when mounted [m]; "
        "left: left when taken off [m]; drawn [m]; fed: fed by the counter [m]; splices; "
        "rest_of: remainder of; verdict: mismatch"
    )
    filled_columns = [c for c in columns if c[0] not in ("rest_of", "verdict") or any(row[c[0]] for row in rows)]
    rows.sort(key=lambda row: not row.get("verdict"))  # what is wrong stands first
    return Table("reels", tr("Reels"), filled_columns, rows)


def claim_table(account: WrapAccount, plant: Plant) -> Table:
    """The reels that held less than their label: by how much, and between which lengths."""
    spans = {(span.kind, span.origin): span for span in reversed(account.reels)}
    rows: list[dict[str, Any]] = []
    for wrong in (w for views in account.views for w in views.wrong):
        length, span = wrong.length, spans.get((wrong.kind, wrong.reel))
        if length is None or wrong.label_m is None or wrong.share >= 0 or span is None:
            continue
        web, short = plant.web(span.web), wrong.label_m - length.number
        row: dict[str, Any] = {"reel": wrong.reel, "web": span.web, "supplier": ""}
        if web is not None:
            row |= {"web": web.label, "supplier": web.supplier}
        row |= {"mounted": span.mounted, "label": wrong.label_m, "length": length.value}
        row |= {"low": length.low, "high": length.high, "short": short, "share": 100 * short / wrong.label_m}
        rows.append(row)
    columns = columns_of(
        "reel; web; supplier; mounted; label [m]; length: measured length [m]; low: at least [m]; high: at most [m]; "
        "short: short by [m]; share: short by [%]"
    )
    return Table("short reels", tr("Reels shorter than their label"), columns, rows)


#: How a claim's lengths were measured, and what a claim leaves open.
CLAIM_METHOD = (
    mark(
        "Method: each reel was measured twice without its label: by the machine's feed counter, "
        "and by pieces wrapped times cut length with the start, splices and restarts. The length "
        "is their mean weighted by inverse variance, and what was left on the reel when it came "
        "off. The interval holds the true length in 95 of 100 cases (GUM, k = 2), with a "
        "standard uncertainty of each of 0.5 % that all reels share and 0.3 % of each reel: "
        "assumptions, not a calibration."
    ),
    mark(
        "A reel is listed where its label differs from both measurements by more than chance "
        "among all reels compared, tested at 95 % with a standard uncertainty of the label of 1 "
        "%."
    ),
)
CLAIM_CAUTION = mark(
    "Counters are no calibrated measure of length: agree on a measurement before a claim is "
    "settled. What a delivery may fall short by is in the contract."
)


def suppliers_claimed(answer: Answer) -> list[str]:
    """The suppliers of reels that held less than their label, in the order of the table.

    Parameters
    ----------
    answer : Answer
        Of wrap.
    """
    claims = next((table.rows for table in answer.tables if table.name == "short reels"), ())
    return list(dict.fromkeys(row["supplier"] for row in claims if row["supplier"]))


def claim_sheet(answer: Answer, supplier: str, plant: Plant) -> Answer:
    """What one supplier gets of the reels that held less than their label.

    Parameters
    ----------
    answer : Answer
        Of wrap.
    supplier : str
        Of `suppliers_claimed`.
    plant : Plant
        Its zone.

    Returns
    -------
    Answer
        The supplier's reels with measured length, interval and method; nothing of use, waste, money or other suppliers.
    """
    table = next(table for table in answer.tables if table.name == "short reels")
    rows = [row for row in table.rows if row["supplier"] == supplier]
    columns = [column for column in table.columns if column[0] != "supplier"]
    day = show.a_day(answer.scope.now.astimezone(plant.tz).date(), plant, year=True)
    short, unit = in_units(sum(row["short"] for row in rows), "m", plant.units)
    words = tr_count(
        "{count} reel held less than the label: {short} {unit} in all.",
        "{count:,} reels held less than the label: {short} {unit} in all.",
        len(rows),
        short=show.number(short, 1),
        unit=unit,
    )
    return Answer(
        question="wrap",
        scope=replace(
            answer.scope, line="", machine="", label=tr("claim to {supplier}, {day}", supplier=supplier, day=day)
        ),
        sentence=(Span(words),),
        soft=tr("Please check your records of these reels and tell us what you propose."),
        tables=(replace(table, columns=columns, rows=rows),),
        notes=tuple(map(tr, CLAIM_METHOD)),
        cautions=(tr(CLAIM_CAUTION),),
    )


def verdict(wrong: WrongLabel) -> str:
    """Name the one of a reel's three views that disagrees with the other two."""
    share = show.number(100 * wrong.share, 0, signed=True)
    tolerance = tr("±{tolerance:g} %", tolerance=100 * wrong.tolerance)
    if wrong.view == "label":
        places = {"reel": wrong.reel, "share": share.lstrip("+−"), "tolerance": tolerance}
        if wrong.share < 0:
            return tr("reel {reel} held {share} % less than its label, beyond {tolerance}", **places)
        return tr("reel {reel} held {share} % more than its label, beyond {tolerance}", **places)
    return tr(
        "on reel {reel} the {what} disagrees with the other two: {share} %, beyond {tolerance}",
        reel=wrong.reel,
        what=tr(wrong.view),
        share=share,
        tolerance=tolerance,
    )


def cause_series(account: WrapAccount) -> pl.DataFrame:
    """Give metres a thousand good pieces by web and cause, in the order of the picture."""
    rows = []
    for use in account.uses:
        for name in CAUSES:
            amount, cause = per_thousand(use, name, "m"), use.cause(name)
            if amount is None or cause is None:
                continue
            rows.append((use.kind, name, amount.value, amount.low, amount.high, cause.is_assumed))
    return pl.DataFrame(rows, schema=CAUSE_SERIES, orient="row")
