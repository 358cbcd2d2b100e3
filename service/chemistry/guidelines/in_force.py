"""Which rows of a set count for this spa and this water."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from service.chemistry.errors import refuse

from .exact import Quantity, exact
from .guideline import Guideline
from .parameters import PARAMETERS
from .rows import LIMITS, Condition, Row

SETTINGS = ("indoor", "outdoor")
PRODUCT_FAMILIES = ("hypochlorite", "acidic_or_bromine")


@dataclass(frozen=True)
class Circumstances:
    """What conditions ask about.

    water           Quantities by parameter; what is absent was not measured.
    sanitiser       "chlorine", "bromine" or "other".
    setting         "indoor" or "outdoor".
    product_family  "hypochlorite" or "acidic_or_bromine" (dichlor, trichlor, gas, bromine); None: not known.
    """

    water: Mapping[str, Quantity]
    sanitiser: str
    setting: str
    product_family: str | None = None

    def __post_init__(self) -> None:
        if self.setting not in SETTINGS:
            raise refuse("setting", "Setting must be indoor or outdoor")
        if self.product_family not in (None, *PRODUCT_FAMILIES):
            raise refuse("product_family", f"Product family must be {' or '.join(PRODUCT_FAMILIES)}")


@dataclass(frozen=True)
class RowInForce:
    """A row that counts; remark says so when it counts only because its condition was not measured."""

    row: Row
    remark: str = ""


def holds(condition: Condition, circumstances: Circumstances) -> bool | None:
    """Whether a condition holds; None when it was not measured or the reading cannot tell.

    A condition on duration always "holds" here: how long a reading has lasted is judged with the
    readings of earlier tests.
    """
    if condition.lasts_more_than_hours is not None:
        return True
    if condition.outdoor is not None:
        return condition.outdoor == (circumstances.setting == "outdoor")
    if condition.product_family is not None:
        return _family_holds(condition.product_family, circumstances)
    quantity = circumstances.water.get(condition.parameter or "")
    return None if quantity is None else _range_holds(condition, quantity)


def _family_holds(asked: str, circumstances: Circumstances) -> bool | None:
    family = "acidic_or_bromine" if circumstances.sanitiser == "bromine" else circumstances.product_family
    return None if family is None else family == asked


def _range_holds(condition: Condition, quantity: Quantity) -> bool | None:
    if condition.above is not None:
        return quantity.is_above(exact(condition.above))
    below = quantity.is_below(exact(condition.start or 0))
    above = quantity.is_above(exact(condition.end or 0))
    if below is False and above is False:
        return True
    return False if below or above else None


def rows_in_force(
    guideline: Guideline, circumstances: Circumstances, parameter: str | None = None
) -> list[RowInForce]:
    """Rows that limit the water, all of which apply together; widening rows are not among them.

    A row that selects or tightens by a reading counts unless the reading shows that it does not: a
    test that was not made never loosens a limit. Where the product family is not known, the rows it
    selects count without their ideal range.
    """
    rows = [row for row in guideline.rows if row.fits(circumstances.sanitiser)]
    if parameter is not None:
        rows = [row for row in rows if row.parameter == parameter]
    found = [counted for row in rows if (counted := _counted(row, circumstances)) is not None]
    rows_found = [item.row for item in found]
    tightening = [row for row in rows_found if row.condition and row.condition.effect == "tightens"]
    loosened = [replace(item, row=_without_replaced(item.row, tightening)) for item in found]
    return [item for item in loosened if any(item.row.limit(name) is not None for name in LIMITS)]


def _counted(row: Row, circumstances: Circumstances) -> RowInForce | None:
    condition = row.condition
    if condition is None:
        return RowInForce(row)
    held = holds(condition, circumstances)
    if condition.effect == "widens" or held is False:
        return None
    if held is True:
        return RowInForce(row)
    if condition.product_family is not None:
        return RowInForce(replace(row, ideal_low=None, ideal_high=None))
    label = PARAMETERS[condition.parameter or "ph"].label
    return RowInForce(row, f"{label} does not show otherwise, so this row is used")


def _without_replaced(row: Row, tightening: Iterable[Row]) -> Row:
    """The looser row without the limits that a tightening row of the same set replaces."""
    for tighter in tightening:
        if tighter.key == row.key or (tighter.set_id, tighter.parameter) != (row.set_id, row.parameter):
            continue
        row = row.without({name for name in LIMITS if tighter.limit(name) is not None})
    return row


def widening_rows(guideline: Guideline, circumstances: Circumstances, parameter: str) -> list[Row]:
    """Rows that add to the allowed range because their condition was measured and holds."""
    return [
        row
        for row in guideline.rows
        if row.parameter == parameter
        and row.fits(circumstances.sanitiser)
        and row.condition is not None
        and row.condition.effect == "widens"
        and holds(row.condition, circumstances) is True
    ]


def own_maximum(guideline: Guideline, circumstances: Circumstances, parameter: str) -> Fraction | None:
    """The set's own upper limit for a parameter, widened where that holds; None where it has none.

    Of two sets used together the lower one counts.
    """
    by_set: dict[str, Fraction] = {}
    rows = [item.row for item in rows_in_force(guideline, circumstances, parameter)]
    for row in rows:
        if (top := row.in_own_unit("max")) is not None:
            by_set[row.set_id] = min(top, by_set.get(row.set_id, top))
    for row in widening_rows(guideline, circumstances, parameter):
        top = row.in_own_unit("max")
        if top is not None and row.set_id in by_set:
            by_set[row.set_id] = max(top, by_set[row.set_id])
    return min(by_set.values(), default=None)
