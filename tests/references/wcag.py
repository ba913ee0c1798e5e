"""Contrast of two colours, as WCAG 2.2 defines it (source wcag-2.2, partly from memory)."""

from lineview.charts.style import channels


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours "#RRGGBB" in either order, 1 to 21."""
    darker, lighter = sorted((_luminance(first), _luminance(second)))
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    linear = []
    for channel in channels(colour):
        share = channel / 255
        linear.append(share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4)
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
