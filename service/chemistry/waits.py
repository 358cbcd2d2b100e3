"""How long to wait after a dose: before the next product, before a retest, before bathers.

Every wait carries its source. The product label comes first, then the local code, then the figures
here; the longest of them is taken, and nobody enters before a test.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.chemistry.treatment.pairs import (
    COMMON_PRACTICE,
    rules_between,
)


@dataclass(frozen=True)
class Wait:
    """Minutes to wait, and who says so."""

    minutes: int
    source: str


BETWEEN_PRODUCTS: Final = Wait(15, f"pumps on between products: {COMMON_PRACTICE}")
AFTER_DILUTION: Final = Wait(30, f"new water mixed by the pumps before anything is added: {COMMON_PRACTICE}")
IN_A_FEEDER: Final = Wait(0, f"slow tablets in a feeder, lifted out while people bathe: {COMMON_PRACTICE}")

_HOUR = Wait(60, COMMON_PRACTICE)
_HALF_HOUR = Wait(30, COMMON_PRACTICE)
BEFORE_BATHING: Final[dict[str, Wait]] = {
    "sodium_bicarbonate": _HALF_HOUR,
    "sodium_carbonate": _HALF_HOUR,
    "sodium_bisulfate": _HALF_HOUR,
    "hydrochloric_acid": _HALF_HOUR,
    "calcium_chloride_anhydrous": _HOUR,
    "calcium_chloride_dihydrate": _HOUR,
    "borax_decahydrate": _HOUR,
    "boric_acid": _HOUR,
    "sodium_hypochlorite": _HALF_HOUR,
    "calcium_hypochlorite": _HALF_HOUR,
    "lithium_hypochlorite": _HALF_HOUR,
    "dichlor_dihydrate": _HALF_HOUR,
    "dichlor_anhydrous": _HALF_HOUR,
    "trichlor": _HALF_HOUR,
    "bcdmh": _HALF_HOUR,
    "sodium_bromide": _HALF_HOUR,
    "potassium_monopersulfate": _HALF_HOUR,
    "sodium_thiosulfate_pentahydrate": _HALF_HOUR,
    "sodium_sulfite": _HALF_HOUR,
    "hydrogen_peroxide": _HALF_HOUR,
    "cyanuric_acid": Wait(30, f"{COMMON_PRACTICE}; a reading is true only after days"),
}


def between_products(first: str, second: str) -> Wait:
    """Time from adding one substance to adding the next, pumps on.

    >>> between_products("sodium_bisulfate", "sodium_hypochlorite").minutes
    30
    >>> between_products("sodium_carbonate", "calcium_chloride_dihydrate").minutes
    120
    """
    longest = BETWEEN_PRODUCTS
    for rule in rules_between(first, second):
        if rule.minutes_between > longest.minutes:
            longest = Wait(rule.minutes_between, f"{rule.why}: {rule.source}")
    return longest


def before_bathing(
    substance: str, *, in_feeder: bool, label_minutes: float | None, hand_dosing: Wait | None
) -> Wait:
    """Time from a dose to bathers: the longest of label, local code and common practice.

    in_feeder      The product is a slow tablet that dissolves in a feeder or floater.
    label_minutes  What the product's label asks for, [min], None where it says nothing.
    hand_dosing    What the guideline in force asks for after dosing by hand, if it does.

    >>> before_bathing("sodium_bicarbonate", in_feeder=False, label_minutes=45, hand_dosing=None)
    Wait(minutes=45, source='product label')
    """
    waits = [IN_A_FEEDER if in_feeder else BEFORE_BATHING[substance]]
    if hand_dosing is not None and not in_feeder:
        waits.insert(0, hand_dosing)
    if label_minutes is not None:
        waits.insert(0, Wait(round(label_minutes), "product label"))
    return max(waits, key=lambda wait: wait.minutes)
