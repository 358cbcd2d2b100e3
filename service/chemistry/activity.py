"""Activity of dissolved ions: how the other ions in the water weaken each of them.

log10 gamma = -A z^2 sqrt(I) / (1 + B a sqrt(I)) + b I   where the database gives a and b,
log10 gamma = -A z^2 (sqrt(I) / (1 + sqrt(I)) - 0.3 I)   (Davies) for every other ion,
log10 gamma = 0.1 I                                      for neutral species.

Ion sizes a, [angstrom], and b, [kg/mol], are those of phreeqc.dat (PHREEQC 3, as packed in
phreeqpython 1.6.2), which takes them from Truesdell and Jones 1974 and Parkhurst 1990.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, log, sqrt
from typing import NamedTuple

from .units import KELVIN

LN10 = log(10.0)


def water_density_g_cm3(temperature_c: float) -> float:
    """Density of pure water at one atmosphere, [g/cm3], 0 to 100 °C.

    Kell, G. S. (1975), J. Chem. Eng. Data 20, 97-105, equation 16.

    >>> round(water_density_g_cm3(25.0), 5)
    0.99704
    """
    t = temperature_c
    polynomial = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return polynomial / (1 + 16.879850e-3 * t) / 1000


def water_dielectric_constant(temperature_c: float) -> float:
    """Relative permittivity of pure water at one atmosphere, dimensionless, 0 to 100 °C.

    Bradley, D. J. and Pitzer, K. S. (1979), J. Phys. Chem. 83, 1599-1603. Coefficients from memory;
    the resulting A and B agree with PHREEQC's within 2e-5 from 5 to 42 °C.

    >>> round(water_dielectric_constant(25.0), 2)
    78.38
    """
    kelvin = temperature_c + KELVIN
    at_1000_bar = 342.79 * exp(-5.0866e-3 * kelvin + 9.469e-7 * kelvin**2)
    c = -2.0525 + 3115.9 / (kelvin - 182.89)
    d = -8032.5 + 4.21452e6 / kelvin + 2.1417 * kelvin
    return at_1000_bar + c * log((d + 1.01325) / (d + 1000))


@lru_cache(maxsize=256)
def debye_huckel(temperature_c: float) -> tuple[float, float]:
    """The Debye-Hückel slopes A, [(kg/mol)^0.5], and B, [(kg/mol)^0.5 per angstrom].

    Truesdell, A. H. and Jones, B. F. (1974), J. Res. U.S. Geol. Survey 2, 233-248.

    >>> [round(slope, 4) for slope in debye_huckel(25.0)]
    [0.51, 0.3285]
    """
    root_density = sqrt(water_density_g_cm3(temperature_c))
    energy = water_dielectric_constant(temperature_c) * (temperature_c + KELVIN)
    return 1.824829e6 * root_density * energy**-1.5, 50.291 * root_density * energy**-0.5


class Coefficients(NamedTuple):
    """Activity coefficients at one ionic strength, dimensionless.

    `carbonate_size_1` is that of any singly charged ion of 5.4 angstrom (bicarbonate, NaSO4-, KSO4-);
    a doubly charged ion of that size has its fourth power. `davies_1` serves every ion without a
    size of its own, likewise with the fourth and ninth power for charges 2 and 3.
    """

    hydrogen: float
    hydroxide: float
    carbonate_size_1: float
    calcium: float
    magnesium: float
    sodium: float
    potassium: float
    sulfate: float
    calcium_bicarbonate: float
    magnesium_bicarbonate: float
    magnesium_hydroxide: float
    davies_1: float
    neutral: float


def activity_coefficients(ionic_strength: float, slope_a: float, slope_b: float) -> Coefficients:
    """Activity coefficients, dimensionless, at an ionic strength, [mol/kg], 0 to about 0.5.

    >>> gamma = activity_coefficients(0.01, *debye_huckel(25.0))
    >>> round(gamma.calcium, 3), round(gamma.carbonate_size_1, 3)
    (0.671, 0.905)
    """
    root = sqrt(ionic_strength)
    b = slope_b * root
    one = -slope_a * LN10 * root
    four = 4 * one
    linear = LN10 * ionic_strength
    return Coefficients(
        exp(one / (1 + 9.0 * b)),
        exp(one / (1 + 3.5 * b)),
        exp(one / (1 + 5.4 * b)),
        exp(four / (1 + 5.0 * b) + 0.165 * linear),
        exp(four / (1 + 5.5 * b) + 0.20 * linear),
        exp(one / (1 + 4.08 * b) + 0.082 * linear),
        exp(one / (1 + 3.5 * b) + 0.015 * linear),
        exp(four / (1 + 5.0 * b) - 0.04 * linear),
        exp(one / (1 + 6.0 * b)),
        exp(one / (1 + 4.0 * b)),
        exp(one / (1 + 6.5 * b)),
        exp(one / (1 + root) + 0.3 * slope_a * linear),
        exp(0.1 * linear),
    )
