"""What the tap gives: readings of a site's supply water, which the chemistry fills with."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from django.core.exceptions import ValidationError

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.errors import InputError
from service.chemistry.readings import parse_readings
from service.sites.models import Site
from service.sites.saving import change_row

# What a supplier's report or a test at the tap gives, in the order such a report lists it.
PARAMETERS = (
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "total_dissolved_solids_mg_l",
    "sulfate_mg_l",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
    "temperature_c",
)


def record_supply_water(
    *, site: Site, readings: Mapping[str, Decimal | None], tested_on: date | None, today: date, by: Person
) -> Site:
    """Replace the site's supply-water readings. None: not known, which is not zero.

    readings   Parameter of ``PARAMETERS`` -> value in the unit of its name.
    tested_on  Day of the test or of the supplier's report; not after ``today``, the firm's day.

    Raises NotAllowed; ValidationError by parameter, or at ``tested_on``.
    """
    require(by, Action.EDIT_SITES)
    known = {name: _number(value) for name, value in readings.items() if value is not None}
    _check(known, tested_on, today)
    fields = {"supply_water": known, "supply_water_tested_on": tested_on}
    return change_row(site, fields, action="site.supply_water_recorded", by=by, figures=tuple(fields))


def _number(value: Decimal) -> int | float:
    """JSON holds plain numbers; ``repr`` of the float gives back what was typed."""
    return int(value) if value == value.to_integral_value() else float(value)


def _check(known: Mapping[str, int | float], tested_on: date | None, today: date) -> None:
    errors: dict[str, str] = {
        name: "Not a reading of supply water." for name in known if name not in PARAMETERS
    }
    if tested_on and tested_on > today:
        errors["tested_on"] = "The day of the test cannot be after today."
    if known and not tested_on:
        errors["tested_on"] = "Say on which day the water was tested, or the report's day."
    try:
        parse_readings(known)
    except InputError as refused:
        errors |= {error.field.removeprefix("readings."): f"{error.message}." for error in refused.errors}
    if errors:
        raise ValidationError(errors)
