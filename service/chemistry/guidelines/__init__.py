"""Published limits for spa water as data, and judging by them.

`get` a set, `judge` readings by it, ask `fit_for_use`; `band` gives the range a plan aims at.
Clocks and water replacement live in `clocks` and `water_replacement`.
"""

from .bands import Band, band
from .catalogue import answer, detail, summary
from .citation import Citation, Confirmation
from .finding import Finding, fit_for_use
from .guideline import Guideline, confirm, unverified_rows
from .judging import judge
from .library import available, check_choice, get, ids
from .rows import Row
from .schema import GuidelineDataError

__all__ = [
    "Band",
    "Citation",
    "Confirmation",
    "Finding",
    "Guideline",
    "GuidelineDataError",
    "Row",
    "answer",
    "available",
    "band",
    "check_choice",
    "confirm",
    "detail",
    "fit_for_use",
    "get",
    "ids",
    "judge",
    "summary",
    "unverified_rows",
]
