"""The tests a technician can make or enter, and how wide a figure may be typed."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.sites.models import Spa


@dataclass(frozen=True)
class Test:
    """One parameter that can be read.

    unit       As shown beside the number, "" for pH. step: of the − and + beside the field.
    decimals   Places the step needs. low, high: what can be recorded, in this unit.
    systems    Sanitisers for which it is offered; all when empty.
    dilutable  A sample diluted with clean water can be read.
    laboratory Comes from a laboratory, not from a test at the tub.
    """

    __test__ = False  # not a test class, whatever a collector makes of its name

    parameter: str
    label: str
    unit: str
    step: Decimal
    low: Decimal
    high: Decimal
    systems: tuple[str, ...] = ()
    dilutable: bool = True
    laboratory: bool = False

    @property
    def decimals(self) -> int:
        exponent = self.step.as_tuple().exponent
        return max(0, -exponent) if isinstance(exponent, int) else 0

    @property
    def range_words(self) -> str:
        return f"from {self.low.normalize():f} to {self.high.normalize():f} {self.unit}".rstrip()


def _test(parameter: str, label: str, unit: str, step: str, high: int, low: int = 0, **more: Any) -> Test:
    return Test(parameter, label, unit, Decimal(step), Decimal(low), Decimal(high), **more)


# The highest figures are those of no tub anybody will meet, and of the column that holds them.
TESTS: tuple[Test, ...] = (
    _test("free_chlorine_mg_l", "Free chlorine", "mg/L", "0.1", 1000, systems=("chlorine", "other")),
    _test("total_chlorine_mg_l", "Total chlorine", "mg/L", "0.1", 1000, systems=("chlorine",)),
    _test("total_bromine_mg_l", "Total bromine", "mg/L", "0.1", 1000, systems=("bromine",)),
    _test("ph", "pH", "", "0.1", 14, dilutable=False),
    _test("temperature_c", "Water temperature", "°C", "0.5", 100, dilutable=False),
    _test("total_alkalinity_mg_l", "Total alkalinity", "mg/L", "10", 10000),
    _test("calcium_hardness_mg_l", "Calcium hardness", "mg/L", "10", 10000),
    _test("cyanuric_acid_mg_l", "Cyanuric acid", "mg/L", "5", 10000, systems=("chlorine", "other")),
    _test("total_dissolved_solids_mg_l", "Total dissolved solids", "mg/L", "50", 100000),
    _test("borate_mg_l", "Borate as boron", "mg/L", "5", 10000),
    _test("sulfate_mg_l", "Sulphate", "mg/L", "10", 100000),
    _test("orp_mv", "Oxidation-reduction potential", "mV", "10", 2000, -2000, dilutable=False),
    _test("turbidity_ntu", "Turbidity", "NTU", "0.1", 10000),
    _test("colony_count_cfu_ml", "Colony count", "cfu/mL", "1", 99_999_999, laboratory=True),
    _test("total_coliforms_per_100_ml", "Total coliforms", "per 100 mL", "1", 99_999_999, laboratory=True),
    _test("e_coli_per_100_ml", "Escherichia coli", "per 100 mL", "1", 99_999_999, laboratory=True),
    _test(
        "pseudomonas_aeruginosa_per_100_ml",
        "Pseudomonas aeruginosa",
        "per 100 mL",
        "1",
        99_999_999,
        laboratory=True,
    ),
    _test("legionella_cfu_l", "Legionella", "cfu/L", "1", 99_999_999, laboratory=True),
)
BY_PARAMETER: Mapping[str, Test] = {test.parameter: test for test in TESTS}


def tests_for(spa: Spa) -> tuple[Test, ...]:
    """The tests offered for a spa, in the order of the work."""
    return tuple(test for test in TESTS if not test.systems or spa.sanitiser in test.systems)
