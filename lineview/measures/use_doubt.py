"""How sure the whole use of a web is: what the reconciled views leave open, beside the counter's step."""

from __future__ import annotations

import math
from dataclasses import replace

from lineview.measures.use_views import FEED_COMMON_SD, Views
from lineview.measures.wrap_use import Cause, WebUse

#: Coverage factor of an expanded uncertainty of about 95 %.
K = 2.0


def with_doubt(use: WebUse, views: Views | None) -> WebUse:
    """Give a use the bounds that its uncertainty makes, instead of the counter's step alone.

    Parameters
    ----------
    use : WebUse
        Of one kind of web over the period.
    views : Views or None
        The reconciled views of that kind's reels; None where none could be compared.

    Returns
    -------
    WebUse
        Bounds at ± 2 standard uncertainties (k = 2), and reaching to what the reconciliation would make of
        the counter: the reconciled metres over those fed, on the reels compared. Without views the scale of
        the feed counter is in doubt by what is assumed of it. What is unexplained is as unsure as the use.
        A use that no counter measured stays as it is.

    Notes
    -----
    Source: vdi-2048, gum
    """
    if use.fed is None or use.metres <= 0:
        return use
    relative, shift, said = _relative(views)
    step = max(use.high_m - use.metres, use.metres - use.low_m)
    half = math.hypot(K * relative * use.metres, step)
    moved = shift * use.metres
    low = use.metres + min(moved, 0.0) - half
    high = use.metres + max(moved, 0.0) + half
    causes = tuple(_as_unsure(cause, use, low, high) for cause in use.causes)
    return replace(use, low_m=max(low, 0.0), high_m=high, causes=causes, doubt=said)


def _relative(views: Views | None) -> tuple[float, float, str]:
    """Give the relative standard uncertainty, the counter's adjustment over its metres, and words."""
    fed = None if views is None else next((v for v in views.totals if v.view == "feed counter"), None)
    if views is None or fed is None or fed.metres <= 0 or views.reconciled_m <= 0:
        return FEED_COMMON_SD, 0.0, f"k = 2; the feed counter's scale assumed sure to {FEED_COMMON_SD:.1%}"
    relative = views.reconciled_sd_m / views.reconciled_m
    return relative, fed.adjustment / fed.metres, f"k = 2, from the views of {views.reels} reels, reconciled"


def _as_unsure(cause: Cause, use: WebUse, low: float, high: float) -> Cause:
    """Widen what is unexplained by as much as the use itself."""
    if cause.name != "unexplained":
        return cause
    return replace(
        cause,
        low=cause.low - max(use.low_m - low, 0.0),
        high=cause.high + max(high - use.high_m, 0.0),
    )
