"""The tokens meet WCAG 2.2 AA (SC 1.4.3: text 4.5 to 1; SC 1.4.11: shapes 3 to 1) and stand in the styles."""

import re
from dataclasses import fields

import pytest

from lineview.charts.style import DAY, NIGHT, Tokens
from lineview.core.resources import shipped
from tests.references.wcag import contrast

CSS = (shipped("assets") / "style.css").read_text(encoding="utf-8")


def of_css(selector: str) -> dict[str, str]:
    """Give the variables a rule sets."""
    body = re.search(re.escape(selector) + r"\s*\{([^}]*)\}", CSS)
    assert body, f"no rule {selector}"
    return dict(re.findall(r"--(\w+):\s*(#[0-9A-Fa-f]{6})", body.group(1)))


@pytest.mark.parametrize("tokens", [DAY, NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("text", ["ink", "soft", "call", "note"])
def test_text_reaches_4_5_to_1(tokens: Tokens, ground: str, text: str) -> None:
    assert contrast(getattr(tokens, text), getattr(tokens, ground)) >= 4.5


@pytest.mark.parametrize("tokens", [DAY, NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("text", ["ink", "soft"])
def test_words_on_the_pale_area_reach_4_5_to_1(tokens: Tokens, text: str) -> None:
    assert contrast(getattr(tokens, text), tokens.band) >= 4.5


@pytest.mark.parametrize("tokens", [DAY, NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("shape", ["grey", "soft", "call", "note"])
def test_shapes_reach_3_to_1_on_the_card(tokens: Tokens, shape: str) -> None:
    assert contrast(getattr(tokens, shape), tokens.card) >= 3.0


@pytest.mark.parametrize(
    ("selector", "tokens"),
    [(":root", DAY), (':root[data-theme="night"]', NIGHT), (':root:not([data-theme="day"])', NIGHT)],
)
def test_style_sheet_carries_the_same_values(selector: str, tokens: Tokens) -> None:
    assert of_css(selector) == {f.name: getattr(tokens, f.name) for f in fields(tokens)}


def test_the_bundle_of_charts_is_of_the_version_that_plotly_carries() -> None:
    from plotly.offline import get_plotlyjs_version

    head = (shipped("assets") / "plotly-basic.min.js").read_text(encoding="utf-8")[:200]
    assert f"v{get_plotlyjs_version()}" in head
