"""The order page's form that supposes other lead times, risk, prices, need or stock; saved only on request."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from dash import Input, Output, State, dcc, html
from dash.exceptions import PreventUpdate
from flask import Flask, request

from lineview.app.access import Person
from lineview.app.works import Works
from lineview.board.address import Address, read_address
from lineview.board.calls import Calls
from lineview.board.components import aria
from lineview.board.plain import page_links, plain_page
from lineview.board.written import FRESH, typed
from lineview.core.errors import Fault, LineviewError
from lineview.core.language import mark, tr
from lineview.order.orders import latest_counts
from lineview.order.what_if import LIMITS
from lineview.plant import Plant

ALL_WEBS = mark("all webs")
#: What the form of a stock count asks for.
COUNTED = {
    "at": mark("counted at"),
    "whole": mark("reels, part reels apart"),
    "parts": mark("part reels, outer diameters in mm, with spaces between"),
    "coming": mark("all still to come: reels and day, semicolons between; or none"),
}
#: By the name in an address: the key of plant.toml that keeps it.
SAVED = {"lead_days": "lead_time_days", "price": "price_per_reel"}


def what_if_form(works: Works, plant: Plant, address: Address, who: Person) -> html.Details:
    """Fields for what is supposed, filled with what the address supposes; open where it supposes anything."""
    supposed = dict(address.supposed)
    webs: list[Any] = [{"label": tr(ALL_WEBS), "value": ""}]
    webs += [{"label": web.label, "value": web.id} for web in plant.webs]
    web = dcc.RadioItems(options=webs, value=supposed.get("web", ""), id="if-web", className="stops")
    fields = [
        html.Label([tr(words), dcc.Input(id=f"if-{name}", type="text", value=supposed.get(name, ""))])
        for name, (words, _, _) in LIMITS.items()
    ]
    show = html.Button(tr("Show"), id="if-show", type="button")
    acts: list[Any] = [show]
    if supposed:
        acts.append(
            dcc.Link(tr("Back to what is known"), href=Address("order", address.line, None, address.period).href)
        )
    inner: list[Any] = [
        html.Summary(tr("What if")),
        html.P(tr("The sentence and the pictures follow; nothing is saved. An empty field is what is known.")),
        html.Fieldset([html.Legend(tr("Lead time, price and count are of")), web]),
        html.Div(fields, className="in-a-row"),
        html.P(acts, className="acts"),
        *_save(plant, supposed, who),
        *_count_form(works, plant, supposed, who),
    ]
    return html.Details(inner, className="fold form", id="what-if", open=bool(supposed))


def _save(plant: Plant, supposed: dict[str, str], who: Person) -> list[Any]:
    """A form that writes a web's supposed lead time and price to plant.toml, for those who may."""
    web = plant.web(supposed.get("web", ""))
    entries = {key: supposed[name] for name, key in SAVED.items() if supposed.get(name)}
    if web is None or not entries or not who.may("administer"):
        return []
    hidden = [
        dcc.Input(id=f"if-save-{key}", type="hidden", name=f"webs/{web.id}/{key}", value=text)
        for key, text in entries.items()
    ]
    back = dcc.Input(id="if-save-back", type="hidden", name="back", value="/order")
    name = dcc.Input(id="if-save-who", name="who", type="text", required=True, autoComplete="name")
    name_field = [html.Label([tr("Your name"), name])] if who.session is None else []
    name_of_web = web.label
    if len(entries) > 1:
        words = tr("Save this lead time and price of {web}", web=name_of_web)
    elif "price_per_reel" in entries:
        words = tr("Save this price of {web}", web=name_of_web)
    else:
        words = tr("Save this lead time of {web}", web=name_of_web)
    save = html.Button(words, type="submit")
    return [
        html.Form([back, *hidden, *name_field, save], action="/works/fill", method="POST", **aria(label=tr("save")))
    ]


def _count_form(works: Works, plant: Plant, supposed: dict[str, str], who: Person) -> list[Any]:
    """A form that keeps the count that is supposed of a web, filled with what is known, for those who may note."""
    web = plant.web(supposed.get("web", ""))
    if web is None or "counted_reels" not in supposed or not who.may("note"):
        return []
    before = latest_counts(plant, works.store.stock()).by_web.get(web.id)
    coming = [
        f"{d.reels:g} {typed(d.at, plant)[:10]}" if d.at else f"{d.reels:g}"
        for d in (before.deliveries if before is not None else ())
    ]
    now, read_at = datetime.now(UTC), works.last_reading()
    at = now if read_at is None or now - read_at < FRESH else read_at  # as every form: of what is shown
    at = at if before is None else max(at, before.counted_at + timedelta(minutes=1))
    values = (typed(at, plant), supposed["counted_reels"], "", "; ".join(coming) or tr("none"))
    fields = [
        html.Label([tr(words), dcc.Input(id=f"count-{name}", name=name, type="text", value=value)])
        for (name, words), value in zip(COUNTED.items(), values, strict=True)
    ]
    hidden = dcc.Input(id="count-web", type="hidden", name="web", value=web.id)
    save = html.Button(tr("Save this count of {web}", web=web.label), type="submit", className="main")
    parts = [hidden, html.Div(fields, className="in-a-row"), save]
    return [html.Form(parts, action="/count", method="POST", id="count", **aria(label=tr("count")))]


def add_count_route(server: Flask, works: Works) -> None:
    """Add the address that a stock count is sent to, and that undoes it."""

    def count() -> str:
        form, intake, again = request.form, "", {}
        faults: tuple[Fault, ...] = ()
        try:
            if form.get("undo", "").isdecimal():
                works.undo_count(int(form["undo"][:12]))
                sentence = tr("The count was undone; the one before it holds again.")
            else:
                again = {name: (tr(words), form.get(name, "")[:300]) for name, words in COUNTED.items()}
                texts = {"web": form.get("web", "")[:300], **{name: text for name, (_, text) in again.items()}}
                intake = str(works.count_stock(texts))
                sentence = tr("The count was saved as intake {intake}; the order follows it.", intake=intake)
        except LineviewError as error:
            sentence, faults = tr("The count was not saved."), tuple(error.faults)
        context = {"title": tr("Stock count"), "shop": works.plant.shop, "pages": page_links(), "faults": faults}
        typed_again = {"again": again if faults else {}, "web": form.get("web", "")}
        return plain_page("count.html", sentence=sentence, intake=intake, **typed_again, **context)

    server.add_url_rule("/count", "count", count, methods=["POST"])


def bind_what_if(calls: Calls) -> None:
    """Bind the form's button: what is supposed stands in the address, so that a link shows the same."""

    def suppose(clicks: int | None, web: str | None, *texts: str | None) -> Any:
        *values, pathname, search = texts
        if not clicks:
            raise PreventUpdate
        entries = {"web": web or "", **dict(zip(LIMITS, (text or "" for text in values), strict=True))}
        there = read_address(pathname, search).supposing(entries)
        return "?" + there.href.partition("?")[2]

    calls.bind(
        "see",
        Output("address", "search", allow_duplicate=True),
        Input("if-show", "n_clicks"),
        State("if-web", "value"),
        *(State(f"if-{name}", "value") for name in LIMITS),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )(suppose)
