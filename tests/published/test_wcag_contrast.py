"""Contrast ratios: hex values of Okabe and Ito (2008), ratio by the definition of WCAG 2.2."""

import pytest

from tests.references.wcag import contrast

GROUNDS = ("#FFFFFF", "#D3D3D3", "#262626")
#: Ratios on those grounds, as published to two decimals.
OKABE_ITO = {
    "#E69F00": (2.25, 1.5, 6.72),
    "#56B4E9": (2.31, 1.54, 6.56),
    "#009E73": (3.42, 2.29, 4.42),
    "#F0E442": (1.32, 1.13, 11.44),
    "#0072B2": (5.19, 3.46, 2.92),
    "#D55E00": (3.87, 2.58, 3.91),
    "#CC79A7": (3.06, 2.04, 4.94),
}


@pytest.mark.parametrize("colour", OKABE_ITO)
def test_okabe_ito_colours_on_three_grounds(colour: str) -> None:
    ratios = [contrast(colour, ground) for ground in GROUNDS]
    assert ratios == pytest.approx(OKABE_ITO[colour], abs=0.006)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [("#000000", "#FFFFFF", 21.0), ("#767676", "#FFFFFF", 4.54), ("#777777", "#FFFFFF", 4.48)],
)
def test_wcag_definition_on_known_pairs_from_memory(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.006)
    assert contrast(other, one) == contrast(one, other)
