"""Which function answers which question."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from lineview.answers.answer import Answer, Question, Scope
from lineview.plant import Plant

if TYPE_CHECKING:
    from lineview.inputs import Inputs

WHERE: dict[Question, tuple[str, str]] = {
    "rope": ("lineview.answers.rope", "answer_rope"),
    "weight": ("lineview.answers.weight", "answer_weight"),
    "shift": ("lineview.answers.shift", "answer_shift"),
    "wrap": ("lineview.answers.wrap", "answer_wrap"),
    "order": ("lineview.answers.order", "answer_order"),
}


def answer_to(question: Question, plant: Plant, scope: Scope, inputs: Inputs) -> Answer:
    """Answer one question.

    The answers are imported when first asked, so that the command line starts quickly.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap" or "order".
    plant : Plant
        The plant description.
    scope : Scope
        Line, machine and period.
    inputs : Inputs
        What it works on, of its own kind.

    Returns
    -------
    Answer
        Figures, sentence, tables and series.
    """
    module, name = WHERE[question]
    answer: Answer = getattr(import_module(module), name)(plant, scope, inputs)
    return answer
