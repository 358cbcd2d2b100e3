"""Holds: states in which nothing is dosed and nothing drained, only the published response given.

Sources: CDC, Toolkit for Controlling Legionella (2018) for a Legionella result: close, stop jets and
pumps, do not drain, call the health agency. CDC, responding to faecal incidents (2018), from memory.
The rest: house rule, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Hold:
    """Why the water is held, what to do, whom to call, who says so."""

    id: str
    reason: str
    response: str
    call: str
    source: str


HOLDS: Final[dict[str, Hold]] = {
    hold.id: hold
    for hold in (
        Hold(
            "microbiology_positive",
            "A laboratory found bacteria that must not be there.",
            "Keep it closed. Stop jets and pumps. Do not drain: the health agency may need samples.",
            "the local health agency",
            "CDC, Legionella toolkit, 2018",
        ),
        Hold(
            "fouling",
            "Faeces, blood or vomit in the water.",
            "Keep it closed. Remove what can be lifted out without a vacuum. Follow the health agency's "
            "response for faecal incidents; do not drain before it agrees.",
            "the local health agency",
            "CDC, responding to faecal incidents, 2018 (from memory)",
        ),
        Hold(
            "unknown_product",
            "A product nobody can name is in the water, or products were mixed.",
            "Keep it closed and stay out of fumes. Add nothing, drain nothing. Keep the container.",
            "a licensed professional; poison control if anyone feels ill",
            "house rule, no source",
        ),
        Hold(
            "illness",
            "Somebody fell ill after bathing.",
            "Keep it closed. Stop jets and pumps. Add nothing, drain nothing: samples may be needed.",
            "the local health agency",
            "CDC, Legionella toolkit, 2018",
        ),
    )
}
