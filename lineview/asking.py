"""Which function answers which question."""

from __future__ import annotations

from lineview.answers.answer import Answer, Evidence, Question, Scope
from lineview.plant import Plant


def answer_to(question: Question, plant: Plant, scope: Scope, evidence: Evidence) -> Answer:
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
    evidence : Evidence
        The frames to work on.

    Returns
    -------
    Answer
        Figures, sentence, tables and series.
    """
    if question == "rope":
        from lineview.answers.rope import answer_rope as answer
    elif question == "weight":
        from lineview.answers.weight import answer_weight as answer
    elif question == "shift":
        from lineview.answers.shift import answer_shift as answer
    elif question == "wrap":
        from lineview.answers.wrap import answer_wrap as answer
    else:
        from lineview.answers.order import answer_order as answer
    return answer(plant, scope, evidence)
