"""The wrap answer's tables: use by cause and by product, the views of it, and the reels."""

from __future__ import annotations

from typing import Any

import polars as pl

from lineview.plant import Plant
from lineview.report.answer import Table, columns_of
from lineview.wrap.account import PerThousand, WrapAccount, per_thousand
from lineview.wrap.figures import unit_words
from lineview.wrap.reconcile import WrongLabel
from lineview.wrap.use import CAUSES, UNITS, WebUse

CAUSE_SERIES = {
    "web": pl.String(),
    "kind": pl.String(),
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
        for what in ("", *CAUSES):
            row: dict[str, Any] = {"web": use.kind, "what": what or "total"}
            amounts = {unit: per_thousand(use, what, unit) for unit in UNITS}
            if amounts["m"] is None:
                continue
            cause = use.cause(what)
            row |= {unit: None if t is None else t.value for unit, t in amounts.items()}
            row |= {"low": amounts["m"].low, "high": amounts["m"].high}
            row["basis"] = "assumed" if cause is not None and cause.assumed else ""
            row["working"] = amounts["m"].working
            rows.append(row)
    rows += [_fed_alone(kind, amounts) for kind, amounts in account.fed_alone.items()]
    columns = (
        ("web", "web", ""),
        ("what", "what", ""),
        *[(unit, "per thousand pieces", unit_words(unit, currency)) for unit in UNITS],
        ("low", "from", "m"),
        ("high", "to", "m"),
        ("basis", "basis", ""),
        ("working", "working", ""),
    )
    return Table("use", "Use per thousand good pieces", columns, rows)


def _fed_alone(kind: str, amount: PerThousand) -> dict[str, Any]:
    """The row of a web that plant.toml does not describe: what its counter fed, and nothing else."""
    row = dict.fromkeys(UNITS) | {"web": kind, "what": "fed by the counter", "m": amount.value}
    return row | {"low": amount.low, "high": amount.high, "basis": "", "working": amount.working}


def product_table(account: WrapAccount, plant: Plant, currency: str) -> Table:
    """Use per thousand by product, where batches name products."""
    rows: list[dict[str, Any]] = []
    for product, use in account.by_product:
        described = plant.product(product) if product else None
        row: dict[str, Any] = {
            "product": described.flavour if described is not None else product or "not known",
            "web": use.kind,
            "good": round(use.good),
        }
        for key, what in (("m", ""), ("geometry", "geometry"), ("fed", "fed"), ("difference", "difference")):
            amount = per_thousand(use, what, "m")
            row[key] = None if amount is None else amount.value
        for unit in UNITS[1:]:
            amount = per_thousand(use, "", unit)
            row[unit] = None if amount is None else amount.value
        rows.append(row)
    columns = (
        ("product", "product", ""),
        ("web", "web", ""),
        ("good", "good pieces", "pieces"),
        ("m", "per thousand pieces", "m"),
        ("geometry", "geometry", "m"),
        ("fed", "fed", "m"),
        ("difference", "difference", "m"),
        *[(unit, "per thousand pieces", unit_words(unit, currency)) for unit in UNITS[1:]],
    )
    return Table("products", "Use per thousand good pieces, by product", columns, rows)


def view_table(account: WrapAccount) -> Table:
    """The views of the same metres beside each other, and reconciled."""
    rows: list[dict[str, Any]] = []
    for views in account.views:
        for total in views.totals:
            row = {"web": views.kind, "view": total.view, "metres": total.metres, "doubt": 2.0 * total.sd}
            rows.append(row | {"adjustment": total.adjustment, "reels": views.reels})
        rows.append(
            {
                "web": views.kind,
                "view": "reconciled",
                "metres": views.reconciled_m,
                "doubt": 2.0 * views.reconciled_sd_m,
                "adjustment": None,
                "reels": views.reels,
            }
        )
    columns = columns_of(
        "web; view; metres: length [m]; doubt: ± (k = 2) [m]; adjustment: adjusted by [m]; "
        "reels: reels compared [reels]"
    )
    return Table("views", "Same use measured three ways", columns, rows)


def reel_table(account: WrapAccount) -> Table:
    """Each reel: when it was mounted, what its label said, what was left and what was fed."""
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
            "rest_of": "" if span.origin in ("", span.reel) else span.origin,
            "verdict": wrong.get((span.kind, span.origin or span.reel), ""),
        }
        for span in account.reels
    ]
    columns = columns_of(
        "reel; web; mounted; taken_off: taken off; label [m]; held: held when mounted [m]; "
        "left: left when taken off [m]; drawn [m]; fed: fed by the counter [m]; splices; "
        "rest_of: remainder of; verdict: mismatch"
    )
    filled_columns = [c for c in columns if c[0] not in ("rest_of", "verdict") or any(row[c[0]] for row in rows)]
    return Table("reels", "Reels", filled_columns, rows)


def verdict(wrong: WrongLabel) -> str:
    """Name the one of a reel's three views that disagrees with the other two."""
    share, tolerance = f"{100 * wrong.share:+.0f} %", f"±{100 * wrong.tolerance:g} %"
    share, side = share.replace("-", "−"), "less" if wrong.share < 0 else "more"
    if wrong.what == "label":
        return f"reel {wrong.reel} held {share.lstrip('+−')} {side} than its label, beyond {tolerance}"
    return f"on reel {wrong.reel} the {wrong.what} disagrees with the other two: {share}, beyond {tolerance}"


def cause_series(account: WrapAccount, plant: Plant) -> pl.DataFrame:
    """Give metres a thousand good pieces by web and cause, in the order of the picture."""
    rows = []
    for use in account.uses:
        for what in CAUSES:
            amount, cause = per_thousand(use, what, "m"), use.cause(what)
            if amount is None or cause is None:
                continue
            name = _web_name(plant, use)
            rows.append((name, use.kind, what, amount.value, amount.low, amount.high, cause.assumed))
    return pl.DataFrame(rows, schema=CAUSE_SERIES, orient="row")


def _web_name(plant: Plant, use: WebUse) -> str:
    """The web's own name where there is one of its kind, else the kind."""
    of_kind = [web for web in plant.webs if web.kind == use.kind]
    return (of_kind[0].name or of_kind[0].id) if len(of_kind) == 1 else use.kind
