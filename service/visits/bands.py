"""The band line of a test: the guideline's range, today's reading, the last one, the one expected."""

from collections.abc import Mapping
from decimal import Decimal

from service.chemistry.errors import InputError
from service.chemistry.guidelines import Band, band, get
from service.chemistry.guidelines.parameters import PARAMETERS
from service.shell.bandline import BandLine, band_line
from service.sites.models import Spa
from service.visits.models import Reading
from service.visits.parameters import BY_PARAMETER

# What total chlorine holds beyond the free: computed, not read.
COMBINED = "combined_chlorine_mg_l"
# Where the rule of the picture begins and ends: what a tub's water usually shows, common practice,
# no source. A value beyond is drawn at the end, and its words say the figure.
RULE_ENDS: Mapping[str, tuple[Decimal, Decimal]] = {
    "free_chlorine_mg_l": (Decimal(0), Decimal(12)),
    "total_chlorine_mg_l": (Decimal(0), Decimal(12)),
    "total_bromine_mg_l": (Decimal(0), Decimal(15)),
    "ph": (Decimal("6.4"), Decimal("8.6")),
    "temperature_c": (Decimal(10), Decimal(45)),
    "total_alkalinity_mg_l": (Decimal(0), Decimal(240)),
    "calcium_hardness_mg_l": (Decimal(0), Decimal(600)),
    "cyanuric_acid_mg_l": (Decimal(0), Decimal(150)),
    "total_dissolved_solids_mg_l": (Decimal(0), Decimal(3000)),
    "turbidity_ntu": (Decimal(0), Decimal(5)),
    "orp_mv": (Decimal(300), Decimal(900)),
}


def bands_of(spa: Spa) -> dict[str, Band]:
    """The guideline's range of every test that has one at the spa, and of combined chlorine.

    Empty when the set is not known.

    Needs ``site.client`` and ``organisation`` loaded.
    """
    try:
        guideline = get(spa.guideline_in_force())
        return {
            name: band(guideline, name, sanitiser=spa.sanitiser, setting=spa.setting)
            for name in (*BY_PARAMETER, COMBINED)
            if name in PARAMETERS
        }
    except InputError:
        return {}


def line_of(
    parameter: str,
    limits: Band | None,
    *,
    reading: Reading | None = None,
    last: Reading | None = None,
    expected: float | None = None,
) -> BandLine | None:
    """The band line of one parameter; None for a test that has no picture."""
    ends = RULE_ENDS.get(parameter)
    if ends is None:
        return None
    test = BY_PARAMETER[parameter]
    return band_line(
        name=test.label,
        unit=test.unit,
        lowest=ends[0],
        highest=ends[1],
        low=limits.low if limits else None,
        high=limits.high if limits else None,
        ideal_low=limits.ideal_low if limits else None,
        ideal_high=limits.ideal_high if limits else None,
        value=short(reading.value) if reading else None,
        plus_minus=short(reading.plus_minus) if reading and reading.plus_minus else None,
        bound=reading.bound if reading else "",
        last=short(last.value) if last else None,
        expected=None if expected is None else round(expected, 1),
    )


def short(value: Decimal) -> Decimal:
    """A stored figure without the zeros that its column adds: 7.4000 is 7.4, 100.0000 is 100."""
    plain = value.normalize()
    exponent = plain.as_tuple().exponent
    return plain.quantize(Decimal(1)) if isinstance(exponent, int) and exponent > 0 else plain
