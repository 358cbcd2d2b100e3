"""Equilibrium constants and their temperature dependence.

log10 K = c0 + c1 T + c2/T + c3 log10 T + c4/T^2 + c5 T^2, T in kelvin; where a source gives only a
constant at 25 °C and an enthalpy, the van 't Hoff equation is written in the same form.

phreeqc.dat is the database of PHREEQC 3 (U.S. Geological Survey; Parkhurst and Appelo 2013,
Techniques and Methods 6-A43), as packed in phreeqpython 1.6.2. Its carbonate constants are those of
Plummer, L. N. and Busenberg, E. (1982), Geochim. Cosmochim. Acta 46, 1011-1040 (0 to 90 °C).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log10
from typing import NamedTuple

from .units import KELVIN

Coefficients = tuple[float, ...]

# As PHREEQC has them, so that temperature corrections agree with it.
GAS_CONSTANT_KJ_MOL_K = 8.3147e-3
KJ_PER_KCAL = 4.184
REFERENCE_K = 298.15


def van_t_hoff(log_k_25: float, enthalpy_kj_mol: float) -> Coefficients:
    """Coefficients (c0, c1, c2) of log10 K from a value at 25 °C and an enthalpy, [kJ/mol].

    >>> round(log_k(van_t_hoff(-9.24, 3.224 * KJ_PER_KCAL), 25.0), 6)
    -9.24
    """
    slope = enthalpy_kj_mol / (2.302585092994046 * GAS_CONSTANT_KJ_MOL_K)
    return (log_k_25 + slope / REFERENCE_K, 0.0, -slope)


def log_k(coefficients: Coefficients, temperature_c: float) -> float:
    """log10 of an equilibrium constant at a temperature, [°C].

    >>> round(log_k(LOG_K["bicarbonate"], 25.0), 3)
    10.329
    """
    kelvin = temperature_c + KELVIN
    powers = (1.0, kelvin, 1 / kelvin, log10(kelvin), kelvin**-2, kelvin**2)
    return sum(c * power for c, power in zip(coefficients, powers, strict=False))


def _kcal(log_k_25: float, enthalpy_kcal_mol: float) -> Coefficients:
    return van_t_hoff(log_k_25, enthalpy_kcal_mol * KJ_PER_KCAL)


LOG_K: dict[str, Coefficients] = {
    # CO3-2 + H+ = HCO3-; CO3-2 + 2 H+ = CO2 + H2O (Plummer and Busenberg 1982; phreeqc.dat)
    "bicarbonate": (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9),
    "carbon_dioxide": (464.1965, 0.09344813, -26986.16, -165.75951, 2248628.9),
    # CaCO3 (calcite) = Ca+2 + CO3-2; Ca+2 + CO3-2 = CaCO3; Ca+2 + CO3-2 + H+ = CaHCO3+ (same)
    "calcite": (-171.9065, -0.077993, 2839.319, 71.595),
    "calcium_carbonate": (-1228.732, -0.299440, 35512.75, 485.818),
    "calcium_bicarbonate": (1317.0071, 0.34546894, -39916.84, -517.70761, 563713.9),
    # CO2 (gas, atm) = CO2; H2O = OH- + H+ (phreeqc.dat)
    "carbon_dioxide_gas": (10.5624, -0.023547, -3972.8, 0.0, 587460.0, 1.9194e-5),
    "water": (293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5),
    # Mg+2 + CO3-2 = MgCO3; Mg+2 + CO3-2 + H+ = MgHCO3+ (phreeqc.dat)
    "magnesium_carbonate": (0.9910, 0.00667),
    "magnesium_bicarbonate": (48.6721, 0.03252849, -2614.335, -18.00263, 563713.9),
    # Na+ + CO3-2 = NaCO3-; Na+ + HCO3- = NaHCO3 (phreeqc.dat)
    "sodium_carbonate": _kcal(1.27, 8.91),
    "sodium_bicarbonate": _kcal(-0.25, -1.0),
    # Ca+2, Mg+2, Na+, K+ + SO4-2; SO4-2 + H+ = HSO4- (phreeqc.dat)
    "calcium_sulfate": _kcal(2.25, 1.325),
    "magnesium_sulfate": _kcal(2.37, 4.55),
    "sodium_sulfate": _kcal(0.70, 1.12),
    "potassium_sulfate": (3.106, 0.0, -673.6),
    "hydrogen_sulfate": (-56.889, 0.006473, 2307.9, 19.8858),
    # Ca+2, Mg+2 + H2O = CaOH+, MgOH+ + H+ (phreeqc.dat)
    "calcium_hydroxide": (-12.78,),
    "magnesium_hydroxide": _kcal(-11.44, 15.952),
    # Boric acid: H3BO3 = H2BO3- + H+ (phreeqc.dat)
    "boric_acid": _kcal(-9.24, 3.224),
    # HOCl = OCl- + H+ (Morris, J. C. (1966), J. Phys. Chem. 70, 3798-3805)
    "hypochlorous_acid": (10.0686, -0.0253, -3000.0),
    # HOBr = OBr- + H+ (8.65 at 25 °C; 8.7 to 8.8 are also in use; enthalpy NBS tables, from memory)
    "hypobromous_acid": van_t_hoff(-8.65, 18.9),
    # 5,5-dimethylhydantoin loses H+ (from memory)
    "dimethylhydantoin": (-9.19,),
}


class CyanurateSet(NamedTuple):
    """log10 K of cyanuric acid and its chlorinated forms, O'Brien's numbering; Cy is C3N3O3.

    k6, k10, k12    H3Cy, H2Cy-, HCy-2 lose H+
    k4, k8          H2ClCy, HClCy- lose H+
    k2              HCl2Cy loses H+
    k9a             HClCy- + H2O = H2Cy- + HOCl
    k7a             Cl2Cy- + H2O = HClCy- + HOCl
    k1a             Cl3Cy + H2O = HCl2Cy + HOCl
    """

    name: str
    k6: Coefficients
    k10: Coefficients
    k12: Coefficients
    k4: Coefficients
    k8: Coefficients
    k2: Coefficients
    k9a: Coefficients
    k7a: Coefficients
    k1a: Coefficients


# O'Brien, J. E., Morris, J. C. and Butler, J. N. (1974), in Rubin, A. J. (ed.), Chemistry of Water
# Supply, Treatment, and Distribution, Ann Arbor Science, 333-358; all at 25 °C.
OBRIEN_25_C = CyanurateSet(
    name="O'Brien, Morris and Butler 1974, 25 °C",
    k6=(-6.88,),
    k10=(-11.40,),
    k12=(-13.5,),
    k4=(-5.33,),
    k8=(-10.12,),
    k2=(-3.75,),
    k9a=(-5.62,),
    k7a=(-4.51,),
    k1a=(-1.8,),
)

# K6: Wahman, D. G. (2018), Environ. Sci.: Water Res. Technol. 4, 1522-1530 (journal and pages from memory).
# K7a, K9a: Wahman, D. G. and Alexander, M. T. (2019), Environ. Eng. Sci., doi 10.1089/ees.2018.0387.
# Measured from 5 to 35 °C, used to 45 °C; the other steps are O'Brien's at 25 °C.
TEMPERATURE_DEPENDENT = OBRIEN_25_C._replace(
    name="Wahman 2018, Wahman and Alexander 2019",
    k6=(-1.12, 0.0, -1743.0),
    k9a=(1.65, 0.0, -2229.0),
    k7a=(2.15, 0.0, -2028.0),
)


class CyanurateConstants(NamedTuple):
    """Formation of each species from H3Cy and HOCl, as K; the name tells chlorines and charge lost."""

    cl0_minus1: float
    cl0_minus2: float
    cl0_minus3: float
    cl1_neutral: float
    cl1_minus1: float
    cl1_minus2: float
    cl2_neutral: float
    cl2_minus1: float
    cl3_neutral: float


def cyanurate_constants(chosen: CyanurateSet, temperature_c: float) -> CyanurateConstants:
    """Formation constants of every cyanurate species from H3Cy, HOCl and loss of H+.

    >>> round(log10(cyanurate_constants(TEMPERATURE_DEPENDENT, 25.0).cl1_minus1), 3)
    -1.14
    """
    k = {step: log_k(getattr(chosen, step), temperature_c) for step in chosen._fields[1:]}
    cl1 = k["k6"] - k["k9a"]
    cl2 = cl1 - k["k7a"]
    logs = (
        k["k6"],
        k["k6"] + k["k10"],
        k["k6"] + k["k10"] + k["k12"],
        cl1 - k["k4"],
        cl1,
        cl1 + k["k8"],
        cl2 - k["k2"],
        cl2,
        cl2 - k["k2"] - k["k1a"],
    )
    return CyanurateConstants(*(10.0**value for value in logs))


@dataclass(frozen=True, slots=True)
class EquilibriumConstants:
    """Every constant the mass-action block needs, as K, at one temperature. Names as in LOG_K."""

    bicarbonate: float
    carbon_dioxide: float
    calcite: float
    calcium_carbonate: float
    calcium_bicarbonate: float
    carbon_dioxide_gas: float
    water: float
    magnesium_carbonate: float
    magnesium_bicarbonate: float
    sodium_carbonate: float
    sodium_bicarbonate: float
    calcium_sulfate: float
    magnesium_sulfate: float
    sodium_sulfate: float
    potassium_sulfate: float
    hydrogen_sulfate: float
    calcium_hydroxide: float
    magnesium_hydroxide: float
    boric_acid: float
    hypochlorous_acid: float
    hypobromous_acid: float
    dimethylhydantoin: float
    cyanurate: CyanurateConstants


@lru_cache(maxsize=256)
def constants_at(
    temperature_c: float, cyanurate_set: CyanurateSet = TEMPERATURE_DEPENDENT
) -> EquilibriumConstants:
    """All equilibrium constants at a temperature, [°C], 0 to 57.

    >>> from math import log10
    >>> round(-log10(constants_at(40.0).calcite), 2)
    8.58
    """
    return EquilibriumConstants(
        **{name: 10.0 ** log_k(coefficients, temperature_c) for name, coefficients in LOG_K.items()},
        cyanurate=cyanurate_constants(cyanurate_set, temperature_c),
    )
