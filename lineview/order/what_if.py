"""What a buyer supposes of an order: other lead times, risk, prices, need or stock; nothing of it is saved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr, two_ways, typed_number
from lineview.order.demand import Demand, Need
from lineview.order.orders import Counts
from lineview.order.stock import OnHand
from lineview.plant import Plant, Web
from lineview.report import show
from lineview.wrap.reels import full_reel_m


@dataclass(frozen=True)
class WhatIf:
    """What is supposed; None is what is known.

    Parameters
    ----------
    web : str
        Id of the web that lead time, price and count are of; "" for the lead time of all webs.
    lead_days : float or None
        Lead time [days].
    risk_percent : float or None
        Accepted risk of running out before a delivery.
    price : float or None
        Price per reel, in place of price breaks too.
    need_percent : float or None
        Need of all webs, of what plan and history expect.
    counted_reels : float or None
        Reels counted now.
    """

    web: str = ""
    lead_days: float | None = None
    risk_percent: float | None = None
    price: float | None = None
    need_percent: float | None = None
    counted_reels: float | None = None

    @property
    def need_share(self) -> float:
        """The need over what is expected."""
        return 1.0 if self.need_percent is None else self.need_percent / 100.0


#: By the name in an address: what it is called, its least and its largest value.
LIMITS = {
    "lead_days": (mark("lead time, days"), 0.0, 365.0),
    "risk_percent": (mark("accepted risk, %"), 0.1, 50.0),
    "price": (mark("price per reel"), 0.0, 1e6),
    "need_percent": (mark("need, % of what is expected"), 1.0, 1000.0),
    "counted_reels": (mark("reels counted now"), 0.0, 1e6),
}


def read_what_if(texts: Mapping[str, str]) -> WhatIf | None:
    """Read what is supposed; None where nothing is.

    Parameters
    ----------
    texts : mapping of str to str
        By the names of WhatIf's fields; an empty text supposes nothing.

    Raises
    ------
    AskError
        With all that cannot be read, at once.

    Examples
    --------
    >>> read_what_if({"web": "film", "lead_days": "28"}).lead_days
    28.0
    >>> read_what_if({"web": "film"}) is None
    True
    """
    numbers: dict[str, float] = {}
    faults = []
    for name, (words, least, most) in LIMITS.items():
        text = texts.get(name, "").strip()
        if not text:
            continue
        numbers[name] = typed_number(text)
        if not least <= numbers[name] <= most:
            expected = two_ways(text) or tr("a number from {least:g} to {most:g}", least=least, most=most)
            faults.append(Fault(tr("'{text}' is not allowed here", text=text), tr(words), expected))
    web = texts.get("web", "").strip()
    if not web and {"price", "counted_reels"} & set(numbers):
        faults.append(Fault(tr("no web is chosen"), "web", tr("the web that price and count are of")))
    if faults:
        raise AskError(faults)
    return WhatIf(web, **numbers) if numbers else None


def supposed_plant(plant: Plant, what_if: WhatIf) -> Plant:
    """The plant with the lead times and the price that are supposed."""
    if what_if.web and plant.web(what_if.web) is None:
        ids = ", ".join(web.id for web in plant.webs)
        raise AskError(Fault(tr("unknown web '{web}'", web=what_if.web), "web", tr("one of {names}", names=ids)))
    return plant.model_copy(update={"webs": tuple(_supposed_web(web, what_if) for web in plant.webs)})


def _supposed_web(web: Web, what_if: WhatIf) -> Web:
    if what_if.web not in ("", web.id):
        return web
    changes: dict[str, object] = {}
    if what_if.lead_days is not None:
        changes["lead_time_days"] = what_if.lead_days
    if what_if.price is not None:
        changes |= {"price_per_reel": what_if.price, "price_breaks": ()}
    return web.model_copy(update=changes)


def supposed_demand(demand: Demand, what_if: WhatIf) -> Demand:
    """The demand with its need and spread scaled alike."""
    share = what_if.need_share

    def scale(needs: Mapping[str, Need]) -> dict[str, Need]:
        parts = {name: (need.week_mean * share, need.week_sd * share) for name, need in needs.items()}
        return {name: replace(need, week_mean=parts[name][0], week_sd=parts[name][1]) for name, need in needs.items()}

    return replace(demand, by_web=scale(demand.by_web), by_product=scale(demand.by_product))


def supposed_counts(counts: Counts, plant: Plant, what_if: WhatIf, now: datetime) -> Counts:
    """The counts with the one that is supposed to be made now; what is on order stays so."""
    web = plant.web(what_if.web)
    reel_m = None if web is None else full_reel_m(web)
    if web is None or reel_m is None or what_if.counted_reels is None:
        return counts
    before = counts.by_web.get(web.id)
    lead = timedelta(days=web.lead_time_days or 0.0)
    coming = (
        ()
        if before is None
        else tuple(replace(delivery, at=delivery.at or before.counted_at + lead) for delivery in before.deliveries)
    )
    reels = what_if.counted_reels
    return Counts({**counts.by_web, web.id: OnHand(web.id, now, reels, 0.0, reels * reel_m, coming)})


def supposed_words(what_if: WhatIf, plant: Plant) -> str:
    """Say what is supposed, for the line below the sentence."""
    web = plant.web(what_if.web)
    of = tr(" of {web}", web=web.label) if web else tr(" of all webs")
    words = []
    if what_if.lead_days is not None:
        words.append(tr("a lead time{of} of {days:g} days", of=of, days=what_if.lead_days))
    if what_if.counted_reels is not None:
        words.append(tr("{reels:g} reels{of} counted now", reels=what_if.counted_reels, of=of))
    if what_if.price is not None:
        words.append(
            tr("a price{of} of {price:g} {currency} a reel", of=of, price=what_if.price, currency=plant.currency)
        )
    if what_if.need_percent is not None:
        words.append(tr("{percent:g} % of the need expected", percent=what_if.need_percent))
    if what_if.risk_percent is not None:
        words.append(tr("an accepted risk of {percent:g} %", percent=what_if.risk_percent))
    return tr("What if, not saved: {words}", words=show.sentence_list(words))
