"""Published limits for spa water as data, and judging by them.

`get` a set, `judge` readings by it, ask `fit_for_use`; `band` gives the range a plan aims at.
Beside them stand `clocks`, `water_replacement`, `dosing_rules` and `lasting` (duties), and `catalogue`
(the sets as plain dictionaries); they are imported where they are used.
"""

from .bands import Band, band
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
    "available",
    "band",
    "check_choice",
    "confirm",
    "fit_for_use",
    "get",
    "ids",
    "judge",
    "unverified_rows",
]
