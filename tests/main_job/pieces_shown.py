"""Where each answer's JSON shows the good pieces it stands on."""

from dataclasses import dataclass
from typing import Any

#: The figure of the asked period's good pieces on the asked machine's line, by one name in every answer.
NAME = "good_pieces"


@dataclass(frozen=True)
class Shown:
    """Good pieces as an answer shows them: likeliest, least and most; the ends equal the value if exact."""

    value: float | None
    low: float | None
    high: float | None

    @property
    def exact(self) -> bool:
        """Whether the three are one number."""
        return self.value is not None and self.low == self.value == self.high


def pieces_shown(answer: dict[str, Any]) -> Shown:
    """The good pieces an answer shows; a missing figure is a failure that names it."""
    figures = answer["figures"]
    assert NAME in figures, f"the {answer['question']} answer shows no figure {NAME}"
    figure = figures[NAME]
    value, low, high = figure["value"], figure["low"], figure["high"]
    if low is None and high is None:  # exact count: the ends are the value
        low = high = value
    return Shown(value, low, high)
