"""Public holidays of a country and a part of it, by ISO 3166 codes (the ``holidays`` package)."""

from collections.abc import Mapping
from datetime import date
from functools import lru_cache

import holidays


def why_unknown_place(country: str, subdivision: str) -> str:
    """Why no holidays are known for these codes, as a sentence; "" when they are, or none is asked for.

    >>> why_unknown_place("GB", "ENG")
    ''
    >>> why_unknown_place("GB", "ZZ")
    'ZZ is not a known part of GB. Known: ENG, NIR, SCT, WLS.'
    """
    if not country:
        return "Name the country before its part." if subdivision else ""
    parts = holidays.list_supported_countries().get(country)
    if parts is None:
        return f"{country} is not a known country: two capital letters, such as GB, US or NZ."
    if subdivision and subdivision not in parts:
        known = f" Known: {', '.join(parts)}." if parts else ""
        return f"{subdivision} is not a known part of {country}.{known}"
    return ""


@lru_cache(maxsize=256)
def public_holidays(country: str, subdivision: str, year: int) -> Mapping[date, str]:
    """Day -> name of each public holiday of a year; empty without a country."""
    if not country or why_unknown_place(country, subdivision):
        return {}
    found = holidays.country_holidays(country, subdiv=subdivision or None, years=year, language="en_US")
    return dict(found.items())
