"""Units of the trade and the moles behind them.

Inside the engine an amount is mol/L of water (equivalents for alkalinity), a temperature is in
degrees Celsius and one litre of water is taken as one kilogram. At 40 °C that choice shifts the
saturation index by at most 0.006.

Molar masses, [g/mol], from the standard atomic weights (abridged) of IUPAC/CIAAW, 2021.
"""

from __future__ import annotations

from typing import Final

KELVIN: Final = 273.15

CALCIUM_CARBONATE_G_MOL: Final = 100.087
ALKALINITY_MG_PER_EQ: Final = 50043.5
CHLORINE_G_MOL: Final = 70.906
BROMINE_G_MOL: Final = 159.808
BORON_G_MOL: Final = 10.81
BROMIDE_G_MOL: Final = 79.904
CYANURIC_ACID_G_MOL: Final = 129.07
SULFATE_G_MOL: Final = 96.06
CALCIUM_G_MOL: Final = 40.078
SODIUM_G_MOL: Final = 22.990
CHLORIDE_G_MOL: Final = 35.453
SODIUM_CHLORIDE_G_MOL: Final = 58.443
BICARBONATE_G_MOL: Final = 61.017
BORIC_ACID_G_MOL: Final = 61.83
HYPOCHLOROUS_ACID_G_MOL: Final = 52.46
HYPOBROMOUS_ACID_G_MOL: Final = 96.91

# Exact by definition (NIST Special Publication 811, 2008, appendix B.8).
LITRES_PER_US_GALLON: Final = 3.785411784
GRAMS_PER_OUNCE: Final = 28.349523125
MILLILITRES_PER_US_FLUID_OUNCE: Final = 29.5735295625


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Temperature in degrees Celsius, [°C], from degrees Fahrenheit, [°F].

    >>> celsius_from_fahrenheit(104)
    40.0
    """
    return (temperature_f - 32) * 5 / 9


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Temperature in degrees Fahrenheit, [°F], from degrees Celsius, [°C].

    >>> fahrenheit_from_celsius(40)
    104.0
    """
    return temperature_c * 9 / 5 + 32


def litres_from_us_gallons(volume_gal: float) -> float:
    """Volume in litres, [L], from US liquid gallons.

    >>> round(litres_from_us_gallons(330), 1)
    1249.2
    """
    return volume_gal * LITRES_PER_US_GALLON


def grams_from_ounces(mass_oz: float) -> float:
    """Mass in grams, [g], from avoirdupois ounces.

    >>> round(grams_from_ounces(4), 1)
    113.4
    """
    return mass_oz * GRAMS_PER_OUNCE


def bromine_from_chlorine(chlorine_mg_l: float) -> float:
    """Bromine, [mg/L as Br2], equal in moles to a chlorine figure, [mg/L as Cl2].

    The factor is the ratio of the molar masses, 159.808 / 70.906.

    >>> round(bromine_from_chlorine(1.0), 3)
    2.254
    """
    return chlorine_mg_l * BROMINE_G_MOL / CHLORINE_G_MOL


def chlorine_from_bromine(bromine_mg_l: float) -> float:
    """Chlorine, [mg/L as Cl2], equal in moles to a bromine figure, [mg/L as Br2].

    >>> round(chlorine_from_bromine(2.254), 2)
    1.0
    """
    return bromine_mg_l * CHLORINE_G_MOL / BROMINE_G_MOL
