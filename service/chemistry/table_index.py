"""The trade's saturation index by table: a second, named figure, never mixed with the calcite index.

It adds a factor each for temperature, calcium hardness and total alkalinity to the pH. It counts
cyanurate and borate as carbonate and knows no ion pairs, so it differs from the calcite index of
`equilibrium.py` by a few tenths in spa water.
"""

from __future__ import annotations

from bisect import bisect_right

from .units import fahrenheit_from_celsius

# Administrative Rules of Montana 37.115.1309, Table 7: degrees Fahrenheit or mg/L as CaCO3, and factor.
TEMPERATURE_F = (32.0, 37.0, 46.0, 53.0, 60.0, 66.0, 76.0, 84.0, 94.0, 105.0, 128.0)
TEMPERATURE_FACTOR = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
AMOUNT_MG_L = (5.0, 25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 400.0, 800.0, 1000.0)
HARDNESS_FACTOR = (0.3, 1.0, 1.3, 1.5, 1.6, 1.8, 1.9, 2.1, 2.2, 2.5, 2.6)
ALKALINITY_FACTOR = (0.7, 1.4, 1.7, 1.9, 2.0, 2.2, 2.3, 2.5, 2.6, 2.9, 3.0)
# The same table: 12.1 below 1000 mg/L of dissolved solids, 12.2 above.
FRESH_WATER, SALTY_WATER, SALTY_FROM_MG_L = 12.1, 12.2, 1000.0


def table_saturation_index(
    *,
    ph: float,
    temperature_c: float,
    calcium_hardness_mg_l: float,
    total_alkalinity_mg_l: float,
    total_dissolved_solids_mg_l: float,
) -> float | None:
    """The table index, dimensionless; None outside the table.

    temperature_c            0 to 53.3 °C.
    calcium_hardness_mg_l    5 to 1000 mg/L as CaCO3; so total_alkalinity_mg_l.

    Between two rows the factor is interpolated in a straight line (ours; the rule gives rows only).

    >>> round(table_saturation_index(ph=7.6, temperature_c=84 / 1.8 - 32 / 1.8, calcium_hardness_mg_l=300,
    ...                              total_alkalinity_mg_l=75, total_dissolved_solids_mg_l=500), 1)
    0.2
    """
    factors = (
        _factor(TEMPERATURE_F, TEMPERATURE_FACTOR, fahrenheit_from_celsius(temperature_c)),
        _factor(AMOUNT_MG_L, HARDNESS_FACTOR, calcium_hardness_mg_l),
        _factor(AMOUNT_MG_L, ALKALINITY_FACTOR, total_alkalinity_mg_l),
    )
    solids = SALTY_WATER if total_dissolved_solids_mg_l > SALTY_FROM_MG_L else FRESH_WATER
    total = ph - solids
    for factor in factors:
        if factor is None:
            return None
        total += factor
    return total


def _factor(rows: tuple[float, ...], factors: tuple[float, ...], value: float) -> float | None:
    if not rows[0] <= value <= rows[-1]:
        return None
    upper = min(bisect_right(rows, value), len(rows) - 1)
    share = (value - rows[upper - 1]) / (rows[upper] - rows[upper - 1])
    return factors[upper - 1] + share * (factors[upper] - factors[upper - 1])
