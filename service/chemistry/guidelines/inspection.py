"""Answers of the inspection that close a spa or want attention."""

from __future__ import annotations

from collections.abc import Mapping

from service.chemistry.errors import refuse

from .citation import Citation, house_rule
from .finding import ADVICE, CLOSURE, Finding
from .guideline import Guideline
from .house_floor import QUESTIONS
from .sentences import joined

OTHER_QUESTIONS: Mapping[str, str] = {
    "circulation": "Filtration or disinfection is not running",
    "contamination_treated": "Contaminated water has not been treated",
    "chemicals_approved": "A chemical, or a way of adding it, is not approved",
    "bathers_within_limit": "More people bathe than the spa is for",
}
"""Questions whose No closes a spa only where the document says so; elsewhere it is advice."""

ALL_QUESTIONS: Mapping[str, str] = {**QUESTIONS, **OTHER_QUESTIONS}


def judge_inspection(answers: Mapping[str, bool | None], *, guideline: Guideline) -> list[Finding]:
    """A finding for every No.

    answers  Question id -> True (Yes), False (No) or None (not looked at, which finds nothing).

    Raises InputError for an unknown question.
    """
    for question in answers:
        if question not in ALL_QUESTIONS:
            raise refuse(f"inspection.{question}", f"Unknown question; known: {', '.join(ALL_QUESTIONS)}")
    return [_no(question, guideline) for question, answer in answers.items() if answer is False]


def _no(question: str, guideline: Guideline) -> Finding:
    stated = next((item for item in guideline.closure_conditions if item.question == question), None)
    citation: Citation = stated.citation if stated else house_rule()
    closes = stated is not None or question in QUESTIONS
    remark = "" if stated is None or citation.stated == "document" else f"{citation.mark.rstrip('.')}."
    return Finding(
        parameter=question,
        value=None,
        unit="",
        low=None,
        high=None,
        severity=CLOSURE if closes else ADVICE,
        near_limit=False,
        blocks_use=closes,
        citation=citation,
        message=joined(f"{ALL_QUESTIONS[question]} ({citation.short}).", remark),
    )
