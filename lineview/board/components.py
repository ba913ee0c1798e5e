"""Parts of a page that Dash does not have: text of HTML as one component, and what waits until it can be seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dash.development.base_component import Component
from markupsafe import Markup, escape


def aria(**texts: str) -> Any:
    """Aria attributes as keyword arguments for a Dash component."""
    return {f"aria-{name}": text for name, text in texts.items()}


def element(name: str, content: str | Iterable[str] = "", **attributes: str) -> Markup:
    """Write an element as text of HTML: content that is not such text itself is escaped, and so are attributes."""
    attribute_text = "".join(
        f' {"class" if key == "className" else key}="{escape(text)}"' for key, text in attributes.items() if text
    )
    inner = escape(content) if isinstance(content, str) else "".join(map(escape, content))
    return Markup(f"<{name}{attribute_text}>{inner}</{name}>")  # noqa: S704  # every part of it is escaped above


def go_link(words: str, href: str, look: str = "") -> Markup:
    """A link to another page of the board as text of HTML; `assets/board.js` goes there without loading it anew."""
    return element("a", words, href=href, className=look, **{"data-go": "here"})


#: What only works once Dash runs, and attributes that are passed on.
_NEED_DASH = {"Button", "Input", "Label"}
_PROPERTIES = ("className", "href", "dateTime", "role", "title", "lang")


def text_of(part: Any) -> Markup:
    """Write components as text of HTML: without fields, buttons and styles, and with ids turned to classes.

    `part` is what a callback's reply holds of them: components as mappings, lists of such, texts.
    """
    if isinstance(part, list):
        return Markup("").join(map(text_of, part))
    if not isinstance(part, Mapping):
        return escape("" if part is None else part)
    props, kind = part["props"], part["type"]
    if kind == RawHtml._type:
        return Markup(f"<div>{props['html']}</div>")  # noqa: S704  # every RawHtml is made by `element`, which escapes
    if kind in _NEED_DASH:
        return Markup("")
    attributes = {name: props[name] for name in props if name in _PROPERTIES or name.startswith(("aria-", "data-"))}
    if "id" in props:
        attributes["className"] = f"{props.get('className', '')} {props['id']}".strip()
    return element("a" if kind == "Link" else kind.lower(), [text_of(props.get("children"))], **attributes)


class _Part(Component):
    """A component that `assets/parts.js` draws."""

    _namespace = "lineview_parts"
    _prop_names: list[str] = ["html", "children"]  # noqa: RUF012  # Dash declares them of this kind
    _valid_wildcard_attributes: list[str] = []  # noqa: RUF012  # likewise
    available_wildcard_properties: list[str] = []  # noqa: RUF012  # likewise
    available_properties = _prop_names

    def __init__(self, **props: Any) -> None:
        super().__init__(**props)  # type: ignore[no-untyped-call]  # Dash leaves it bare


class RawHtml(_Part):
    """Its `html`: a table of a thousand cells is one component rather than a thousand, each with work of its own."""

    _type = "RawHtml"


class Lazy(_Part):
    """Its `children`, made once no closed fold holds them: pictures that nobody opens are not drawn."""

    _type = "Lazy"
