"""What a metre of web is in m², kilograms and money, over the mix of webs that a period used."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from lineview.measures.reel_length import full_reel_m
from lineview.measures.web_geometry import web_grammage_g_m2
from lineview.measures.wrap_pieces import WrapPieces
from lineview.plant import Plant, Web, WebKind

#: Per metre of web: what it is in each unit.
UNITS = ("m", "m2", "kg", "money")


def web_for(plant: Plant, product: str, kind: WebKind) -> Web | None:
    """Give the web of a kind that wraps a product; without a product, the one web that all share.

    Parameters
    ----------
    plant : Plant
        The works.
    product : str
        As the batch sheet names it; "" where unknown.
    kind : str
        "film" or "wax paper".

    Returns
    -------
    Web or None
        None where the product has no such web, or it is not known which.
    """
    known = plant.product(product) if product else None
    if known is not None:
        webs = [plant.web(web_id) for web_id in known.webs]
        return next((web for web in webs if web is not None and web.kind == kind), None)
    of_kind = [web for web in plant.webs if web.kind == kind]
    shapes = {
        (web.cut_length_mm, web.width_mm, web_grammage_g_m2(web), web.price_per_reel) for web in of_kind
    }
    return of_kind[0] if len(shapes) == 1 else None


def mix_factors(
    plant: Plant, kind: WebKind, total: Sequence[tuple[WrapPieces, float]]
) -> tuple[dict[str, float | None], dict[str, str]]:
    """Give m², kg and money a metre over the period's mix of webs, and why one cannot be told.

    Parameters
    ----------
    plant : Plant
        The works.
    kind : str
        "film" or "wax paper".
    total : sequence of (WrapPieces, float)
        What was wrapped and its cut length, by product.

    Returns
    -------
    (dict, dict)
        Amount a metre by unit, None where it cannot be told; the reason by unit.
    """
    factors: dict[str, float | None] = {"m": 1.0}
    why: dict[str, str] = {}
    for unit in UNITS[1:]:
        weight, amount = 0.0, 0.0
        missing: set[str] = set()
        for row, cut in total:
            web = web_for(plant, row.product, kind)
            if web is None:
                continue
            per_m = PER_METRE[unit](web)
            weight += row.good * cut
            if per_m is None:
                missing.add(web.id)
            else:
                amount += row.good * cut * per_m
        factors[unit] = None if missing or weight <= 0 else amount / weight
        if missing:
            why[unit] = f"no {_NEEDS[unit]} in plant.toml for {', '.join(sorted(missing))}"
    return factors, why


def _money_per_m(web: Web) -> float | None:
    length = full_reel_m(web)
    return None if web.price_per_reel is None or length is None else web.price_per_reel / length


def _kg_per_m(web: Web) -> float | None:
    grammage = web_grammage_g_m2(web)
    return None if grammage is None else web.width_mm / 1000.0 * grammage / 1000.0


#: What a metre of a web is in each unit, None where plant.toml does not tell.
PER_METRE: Mapping[str, Callable[[Web], float | None]] = {
    "m": lambda _: 1.0,
    "m2": lambda web: web.width_mm / 1000.0,
    "kg": _kg_per_m,
    "money": _money_per_m,
}
_NEEDS = {"m2": "width", "kg": "grammage, nor thickness and density,", "money": "price or reel length"}
