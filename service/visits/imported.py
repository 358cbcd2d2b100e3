"""Readings brought in from lists: how a cell is read, and what a spa's history shows of them."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from service.sites.models import Spa
from service.visits.editing import Refused
from service.visits.models import ImportedReading
from service.visits.parameters import Test
from service.visits.readings import FOUR_PLACES, check_range, typed_number

# Of one spa and page; a list of years is read in the export.
MOST_SHOWN = 2000
MARK = "○ imported"
_WITH_UNIT = re.compile(r"(?P<number>[<>]?\s*[-−]?[\d.,]+)\s*(?P<unit>\D*)")


@dataclass(frozen=True)
class FormerValue:
    """A cell as read: what was typed, and the value in the unit of the parameter's name."""

    typed: str
    typed_unit: str
    value: Decimal
    bound: str


def read_former_value(test: Test, text: str) -> FormerValue:
    """A value of a list: "7,4", "<0.1", "100 °F", "95 ppm". Raises Refused with limit and unit.

    A reading keeps the unit it was typed in; ppm is mg/L in water, and 100 °F is (100 − 32) × 5/9 °C.
    """
    match = _WITH_UNIT.fullmatch(text.strip())
    number, unit = (match["number"], match["unit"].strip()) if match else (text, "")
    bound, typed = typed_number(test, number.replace("−", "-"))
    value = _in_own_unit(test, typed, unit)
    check_range(test, value)
    return FormerValue(f"{typed}", unit or test.unit, value.quantize(FOUR_PLACES), bound)


def _in_own_unit(test: Test, typed: Decimal, unit: str) -> Decimal:
    if test.parameter == "temperature_c" and unit in ("°F", "F"):
        return (typed - 32) * 5 / 9
    same = {"", test.unit} | ({"ppm"} if test.unit == "mg/L" else set())
    same |= {"C"} if test.unit == "°C" else set()
    if unit not in same:
        raise Refused(f"{test.label} is read in {test.unit or 'no unit'}, not in {unit}.")
    return typed


def imported_readings(
    spa: Spa, *, since: datetime, parameters: Iterable[str]
) -> Mapping[str, list[ImportedReading]]:
    """What lists say the spa read since then, by parameter, oldest first; one query, bounded.

    History only: show each with ``MARK``, and judge nothing by it.
    """
    rows = ImportedReading.objects.filter(spa=spa, taken_at__gte=since, parameter__in=list(parameters))
    found: dict[str, list[ImportedReading]] = {}
    for reading in reversed(rows.order_by("-taken_at", "-pk")[:MOST_SHOWN]):
        found.setdefault(reading.parameter, []).append(reading)
    return found
