"""Constants and activity coefficients against their sources and against PHREEQC's own figures."""

from math import log10
from pathlib import Path

import phreeqpython
import pytest
from phreeqpython.viphreeqc import VIPhreeqc

from service.chemistry.activity import activity_coefficients, debye_huckel
from service.chemistry.constants import (
    LOG_K,
    OBRIEN_25_C,
    TEMPERATURE_DEPENDENT,
    constants_at,
    cyanurate_constants,
    log_k,
)
from tests.chemistry.phreeqc_reference import cases_file

SPA_TEMPERATURES_C = (5.0, 12.0, 20.0, 25.0, 30.0, 35.0, 38.0, 40.0, 42.0)

# How PHREEQC's own log K functions name each constant.
PHREEQC_NAMES = {
    "bicarbonate": 'LK_SPECIES("HCO3-")',
    "carbon_dioxide": 'LK_SPECIES("CO2")',
    "calcite": 'LK_PHASE("Calcite")',
    "calcium_carbonate": 'LK_SPECIES("CaCO3")',
    "calcium_bicarbonate": 'LK_SPECIES("CaHCO3+")',
    "carbon_dioxide_gas": 'LK_PHASE("CO2(g)")',
    "water": 'LK_SPECIES("OH-")',
    "magnesium_carbonate": 'LK_SPECIES("MgCO3")',
    "magnesium_bicarbonate": 'LK_SPECIES("MgHCO3+")',
    "sodium_carbonate": 'LK_SPECIES("NaCO3-")',
    "sodium_bicarbonate": 'LK_SPECIES("NaHCO3")',
    "calcium_sulfate": 'LK_SPECIES("CaSO4")',
    "magnesium_sulfate": 'LK_SPECIES("MgSO4")',
    "sodium_sulfate": 'LK_SPECIES("NaSO4-")',
    "potassium_sulfate": 'LK_SPECIES("KSO4-")',
    "hydrogen_sulfate": 'LK_SPECIES("HSO4-")',
    "calcium_hydroxide": 'LK_SPECIES("CaOH+")',
    "magnesium_hydroxide": 'LK_SPECIES("MgOH+")',
    "boric_acid": 'LK_SPECIES("H2BO3-")',
    "hypochlorous_acid": 'LK_SPECIES("Ocl-")',
    "hypobromous_acid": 'LK_SPECIES("Obr-")',
    "dimethylhydantoin": 'LK_SPECIES("Dmh-")',
}
CYANURATE_NAMES = {
    "cl0_minus1": "H2Cya-",
    "cl0_minus2": "HCya-2",
    "cl0_minus3": "Cya-3",
    "cl1_neutral": "H4CyaOcl",
    "cl1_minus1": "H3CyaOcl-",
    "cl1_minus2": "H2CyaOcl-2",
    "cl2_neutral": "H5CyaOcl2",
    "cl2_minus1": "H4CyaOcl2-",
    "cl3_neutral": "H6CyaOcl3",
}
ACTIVITY_IONS = {
    "hydrogen": "H+",
    "hydroxide": "OH-",
    "carbonate_size_1": "HCO3-",
    "calcium": "Ca+2",
    "magnesium": "Mg+2",
    "sodium": "Na+",
    "potassium": "K+",
    "sulfate": "SO4-2",
    "calcium_bicarbonate": "CaHCO3+",
    "magnesium_bicarbonate": "MgHCO3+",
    "magnesium_hydroxide": "MgOH+",
    "davies_1": "H2BO3-",
    "neutral": "CO2",
}


def punch(expressions: list[str], solutions: str) -> list[list[float]]:
    """What PHREEQC (phreeqpython 1.6.2, phreeqc.dat and the stored added species) prints per solution."""
    program = VIPhreeqc()
    program.load_database(Path(phreeqpython.__file__).parent / "database" / "phreeqc.dat")
    program.run_string("\n".join(cases_file()["added_phreeqc_definitions"]) + "\nEND\n")
    lines = "\n".join(f" {10 * n} PUNCH {e}" for n, e in enumerate(expressions, start=1))
    program.run_string(
        f"SELECTED_OUTPUT 1\n -reset false\n -high_precision true\nUSER_PUNCH 1\n -start\n{lines}\n -end\n"
        + solutions
    )
    return [program.get_selected_output_row(n) for n in range(1, program.row_count)]


@pytest.fixture(scope="module")
def phreeqc_log_k() -> dict[float, dict[str, float]]:
    names = [*PHREEQC_NAMES, *CYANURATE_NAMES]
    expressions = [
        *PHREEQC_NAMES.values(),
        *(f'LK_SPECIES("{species}")' for species in CYANURATE_NAMES.values()),
    ]
    everything = "Ca 1\nMg 1\nNa 1\nK 1\nS(6) 1\nB 1\nC 1\nCya 1\nOcl 1\nObr 1\nDmh 1\n"
    solutions = "".join(
        f"SOLUTION 1\n units mmol/kgw\n temp {t}\n pH 7.5\n{everything}END\n" for t in SPA_TEMPERATURES_C
    )
    rows = punch(expressions, solutions)
    return {t: dict(zip(names, row, strict=True)) for t, row in zip(SPA_TEMPERATURES_C, rows, strict=True)}


@pytest.mark.parametrize("name", LOG_K)
def test_every_constant_is_phreeqcs_over_spa_temperatures(name, phreeqc_log_k):
    for temperature_c, theirs in phreeqc_log_k.items():
        assert log_k(LOG_K[name], temperature_c) == pytest.approx(theirs[name], abs=1e-4)


@pytest.mark.parametrize("name", CYANURATE_NAMES)
def test_every_cyanurate_constant_is_that_of_the_stored_definitions(name, phreeqc_log_k):
    for temperature_c, theirs in phreeqc_log_k.items():
        ours = getattr(cyanurate_constants(TEMPERATURE_DEPENDENT, temperature_c), name)
        assert log10(ours) == pytest.approx(theirs[name], abs=1e-4)


@pytest.mark.parametrize("temperature_c", [20.0, 25.0, 30.0, 35.0, 40.0])
def test_carbonate_constants_follow_the_published_equations(temperature_c):
    """Plummer and Busenberg 1982, Geochim. Cosmochim. Acta 46, 1011-1040: abstract (USGS 70011789)."""
    t = temperature_c + 273.15
    log_k1 = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * log10(t) - 1684915 / t**2
    log_k2 = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * log10(t) - 563713.9 / t**2
    log_ks = -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log10(t)
    k = constants_at(temperature_c)

    assert log10(k.bicarbonate / k.carbon_dioxide) == pytest.approx(log_k1, abs=1e-4)
    assert -log10(k.bicarbonate) == pytest.approx(log_k2, abs=1e-4)
    assert log10(k.calcite) == pytest.approx(log_ks, abs=1e-4)


def test_calcite_and_its_pairs_have_the_published_values_at_25_c():
    """Plummer and Busenberg 1982, abstract: log KC -8.480, CaHCO3+ 1.11 (per HCO3-), CaCO3 3.22."""
    k = constants_at(25.0)

    assert log10(k.calcite) == pytest.approx(-8.480, abs=0.0005)
    assert log10(k.calcium_bicarbonate / k.bicarbonate) == pytest.approx(1.11, abs=0.005)
    assert log10(k.calcium_carbonate) == pytest.approx(3.22, abs=0.01)


@pytest.mark.parametrize(
    ("temperature_c", "pk"),
    [(5, 7.754), (10, 7.690), (15, 7.633), (20, 7.582), (25, 7.537), (30, 7.497), (35, 7.463)],
)
def test_hypochlorous_acid_has_morriss_constant(temperature_c, pk):
    """Morris 1966, J. Phys. Chem. 70, 3798-3805; table values from memory."""
    assert -log_k(LOG_K["hypochlorous_acid"], temperature_c) == pytest.approx(pk, abs=0.001)


@pytest.mark.parametrize(
    ("temperature_c", "ph", "share"),
    [(25, 7.0, 0.775), (25, 7.5, 0.521), (38, 7.5, 0.468), (40, 7.2, 0.632), (40, 8.0, 0.214)],
)
def test_share_of_hypochlorous_acid_without_ions_follows_morris(temperature_c, ph, share):
    """Computed from Morris 1966, pK = 3000/T - 10.0686 + 0.0253 T, activity coefficients 1."""
    kelvin = temperature_c + 273.15
    published = 1 / (1 + 10 ** (ph - (3000 / kelvin - 10.0686 + 0.0253 * kelvin)))
    ours = 1 / (1 + constants_at(temperature_c).hypochlorous_acid / 10**-ph)

    assert published == pytest.approx(share, abs=0.002)
    assert ours == pytest.approx(share, abs=0.002)


@pytest.mark.parametrize("temperature_c", [5.0, 15.0, 25.0, 35.0])
def test_cyanurate_constants_follow_their_published_temperature_equations(temperature_c):
    """Wahman 2018 (doi 10.1039/c8ew00431e, abstract): pK6 = 1743/T + 1.12.

    Wahman and Alexander 2019 (doi 10.1089/ees.2018.0387): pK7a = 2028/T - 2.15, pK9a = 2229/T - 1.65.
    """
    t = temperature_c + 273.15

    assert log_k(TEMPERATURE_DEPENDENT.k6, temperature_c) == pytest.approx(-(1743 / t + 1.12))
    assert log_k(TEMPERATURE_DEPENDENT.k7a, temperature_c) == pytest.approx(-(2028 / t - 2.15))
    assert log_k(TEMPERATURE_DEPENDENT.k9a, temperature_c) == pytest.approx(-(2229 / t - 1.65))


def test_published_25_c_values_of_the_two_cyanurate_sets():
    """4.65 and 5.83: Wahman and Alexander 2019; 6.88, 4.51, 5.62: O'Brien, Morris and Butler 1974."""
    assert -log_k(TEMPERATURE_DEPENDENT.k7a, 25.0) == pytest.approx(4.65, abs=0.005)
    assert -log_k(TEMPERATURE_DEPENDENT.k9a, 25.0) == pytest.approx(5.83, abs=0.005)
    assert (OBRIEN_25_C.k6, OBRIEN_25_C.k7a, OBRIEN_25_C.k9a) == ((-6.88,), (-4.51,), (-5.62,))


@pytest.mark.parametrize("temperature_c", SPA_TEMPERATURES_C)
@pytest.mark.parametrize("salt_mmol", [0.5, 10, 80, 200])
def test_activity_coefficients_are_phreeqcs(temperature_c, salt_mmol):
    """PHREEQC: phreeqpython 1.6.2, phreeqc.dat; LG() of each ion in salt water of growing strength."""
    expressions = ["MU", *(f'LG("{ion}")' for ion in ACTIVITY_IONS.values())]
    solution = (
        f"SOLUTION 1\n units mmol/kgw\n temp {temperature_c}\n pH 7.5\n Na {salt_mmol}\n Cl {salt_mmol}\n"
        " Ca 0.1\n Mg 0.1\n K 0.1\n S(6) 0.1\n B 0.1\n C 0.2\nEND\n"
    )
    strength, *theirs = punch(expressions, solution)[0]
    ours = activity_coefficients(strength, *debye_huckel(temperature_c))

    for name, value in zip(ACTIVITY_IONS, theirs, strict=True):
        assert log10(getattr(ours, name)) == pytest.approx(value, abs=1e-4)
