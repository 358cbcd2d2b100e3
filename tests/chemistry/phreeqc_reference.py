"""PHREEQC as an independent reference: the same request, worked out by the U.S. Geological Survey's program.

Reference: PHREEQC 3 (Parkhurst and Appelo 2013, USGS Techniques and Methods 6-A43), the library inside
phreeqpython 1.6.2, with its phreeqc.dat and the species for chlorine, bromine, cyanurate and oxidisers
listed in data/water_prediction_cases.json. Every pH, pair, activity and saturation figure is PHREEQC's.

What PHREEQC does not do is done here by arithmetic from the conventions in that file: closing the charge
of a water that was only partly analysed, dissolved solids, and the reactions between oxidisers, bromide
and neutralisers. Nothing is imported from the engine.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import phreeqpython
from phreeqpython.viphreeqc import VIPhreeqc

CASES_FILE = Path(__file__).parent / "data" / "water_prediction_cases.json"

# Moles of PHREEQC reactants per mole of substance (formulas in the species of CASES_FILE).
REACTANTS: dict[str, dict[str, float]] = {
    "sodium_bicarbonate": {"NaHCO3": 1},
    "sodium_carbonate": {"Na2CO3": 1},
    "sodium_bisulfate": {"NaHSO4": 1},
    "hydrochloric_acid": {"HCl": 1},
    "calcium_chloride_anhydrous": {"CaCl2": 1},
    "calcium_chloride_dihydrate": {"CaCl2": 1},
    "borax_decahydrate": {"H3BO3": 4, "NaOH": 2},
    "boric_acid": {"H3BO3": 1},
    "sodium_hypochlorite": {"NaOcl": 1},
    "calcium_hypochlorite": {"CaOcl2": 1},
    "lithium_hypochlorite": {"LiOcl": 1},
    "dichlor_dihydrate": {"NaH2Cya": 1, "HOcl": 2},
    "dichlor_anhydrous": {"NaH2Cya": 1, "HOcl": 2},
    "trichlor": {"H3Cya": 1, "HOcl": 3},
    "bcdmh": {"HObr": 1, "HOcl": 1, "HDmh": 1},
    "sodium_bromide": {"NaBr": 1},
    "potassium_monopersulfate": {"KPms": 2, "KHSO4": 1, "K2SO4": 1},
    "sodium_thiosulfate_pentahydrate": {"Na2Thi": 1},
    "sodium_sulfite": {"Na2SO4": 1},
    "hydrogen_peroxide": {},
    "cyanuric_acid": {"H3Cya": 1},
}
# Molar mass as named and without water of crystallisation, g/mol.
# CRC Handbook of Chemistry and Physics; the triple salt, bcdmh and lithium hypochlorite from formulas.
MASSES: dict[str, tuple[float, float]] = {
    "sodium_bicarbonate": (84.007, 84.007),
    "sodium_carbonate": (105.988, 105.988),
    "sodium_bisulfate": (120.06, 120.06),
    "hydrochloric_acid": (36.461, 36.461),
    "calcium_chloride_anhydrous": (110.98, 110.98),
    "calcium_chloride_dihydrate": (147.01, 110.98),
    "borax_decahydrate": (381.37, 201.22),
    "boric_acid": (61.83, 61.83),
    "sodium_hypochlorite": (74.442, 74.442),
    "calcium_hypochlorite": (142.98, 142.98),
    "lithium_hypochlorite": (58.39, 58.39),
    "dichlor_dihydrate": (255.98, 219.95),
    "dichlor_anhydrous": (219.95, 219.95),
    "trichlor": (232.41, 232.41),
    "bcdmh": (241.47, 241.47),
    "sodium_bromide": (102.894, 102.894),
    "potassium_monopersulfate": (614.74, 614.74),
    "sodium_thiosulfate_pentahydrate": (248.18, 158.11),
    "sodium_sulfite": (126.04, 126.04),
    "hydrogen_peroxide": (34.015, 34.015),
    "cyanuric_acid": (129.07, 129.07),
}
OXIDANTS_ADDED = {
    "sodium_hypochlorite": {"Ocl": 1},
    "calcium_hypochlorite": {"Ocl": 2},
    "lithium_hypochlorite": {"Ocl": 1},
    "dichlor_dihydrate": {"Ocl": 2},
    "dichlor_anhydrous": {"Ocl": 2},
    "trichlor": {"Ocl": 3},
    "bcdmh": {"Obr": 1, "Ocl": 1},
    "sodium_bromide": {"Br": 1},
    "potassium_monopersulfate": {"Pms": 2},
    "sodium_thiosulfate_pentahydrate": {"Thi": 1},
    "sodium_sulfite": {"Sulfite": 1},
    "hydrogen_peroxide": {"H2O2": 1},
}
# An oxidant that is spent becomes its acid: HOCl -> HCl, HOBr -> HBr, HPms -> H2SO4.
SPENT = {
    "Ocl": {"HOcl": -1, "HCl": 1},
    "Obr": {"HObr": -1, "HBr": 1},
    "Pms": {"HPms": -1, "H2SO4": 1},
}
OXIDANT_ORDER = ("Ocl", "Obr", "Pms")
# PHREEQC refuses a total that rounding carries below zero, so a trace of what is used up stays.
NEARLY_ALL = 1 - 1e-7
TRACE_MOL = 1e-9

PUNCHED = {
    "ph": '-LA("H+")',
    "alkalinity_eq": "ALK",
    "dic": 'TOT("C")',
    "carbonate_alkalinity_eq": "+".join(
        f'{charge}*MOL("{species}")'
        for species, charge in (
            ("HCO3-", 1),
            ("CO3-2", 2),
            ("CaHCO3+", 1),
            ("CaCO3", 2),
            ("MgHCO3+", 1),
            ("MgCO3", 2),
            ("NaHCO3", 1),
            ("NaCO3-", 2),
        )
    ),
    "ca": 'TOT("Ca")',
    "cya": 'TOT("Cya")',
    "b": 'TOT("B")',
    "ocl": 'TOT("Ocl")',
    "obr": 'TOT("Obr")',
    "br": 'TOT("Br")',
    "hocl": 'MOL("HOcl")',
    "oclm": 'MOL("Ocl-")',
    "hobr": 'MOL("HObr")',
    "saturation_index": 'SI("Calcite")',
    "log10_pco2_atm": 'SI("CO2(g)")',
    "temperature_c": "TC",
    "ionic_strength": "MU",
}


class PhreeqcRefusedError(Exception):
    """PHREEQC itself found no solution: the water cannot exist as described."""


@cache
def cases_file() -> dict[str, Any]:
    """The stored cases with the definitions and conventions they rest on."""
    loaded: dict[str, Any] = json.loads(CASES_FILE.read_text(encoding="utf-8"))
    return loaded


@dataclass
class Ledger:
    """What PHREEQC is not asked: redox amounts, mol/kgw, dissolved solids, temperature."""

    redox: Counter[str] = field(default_factory=Counter)
    solids_mg_l: float = 0.0


class PhreeqcReference:
    """One PHREEQC instance that answers predict requests. `predict` takes and gives the contract's JSON."""

    def __init__(self) -> None:
        self._program = VIPhreeqc()
        self._program.load_database(Path(phreeqpython.__file__).parent / "database" / "phreeqc.dat")
        self._program.run_string("\n".join(cases_file()["added_phreeqc_definitions"]) + "\nEND\n")
        lines = [f"{n * 10} PUNCH {what}" for n, what in enumerate(PUNCHED.values(), start=1)]
        self._program.run_string(
            "SELECTED_OUTPUT 1\n -reset false\n -high_precision true\n"
            "USER_PUNCH 1\n -headings "
            + " ".join(PUNCHED)
            + "\n -start\n"
            + "\n".join(lines)
            + "\n -end\nEND\n"
        )

    def predict(self, request: Mapping[str, Any]) -> dict[str, dict[str, float]]:
        """{"before": W, "after": W} as PHREEQC sees it; raises PhreeqcRefusedError."""
        before, ledger = self._solution(1, request["readings"], request.get("background_mmol_l"))
        first = self._figures(before, ledger)
        last = before
        for step in request["steps"]:
            last = self._step(step, request["volume_l"], ledger) or last
        return {"before": first, "after": self._figures(last, ledger)}

    def _run(self, text: str) -> dict[str, float]:
        try:
            self._program.run_string(text)
        except Exception as failure:
            raise PhreeqcRefusedError(text) from failure
        values = self._program.get_selected_output_row(-1)
        return dict(zip(PUNCHED, values, strict=True))

    def _solution(
        self, number: int, readings: Mapping[str, Any], background: Mapping[str, float] | None
    ) -> tuple[dict[str, float], Ledger]:
        amounts = initial_amounts(readings, background)
        lines = [f" {element} {amount:.15g}" for element, amount in amounts.items() if amount > 0]
        text = (
            f"SOLUTION {number}\n units mol/kgw\n -water 1\n temp {readings['temperature_c']}\n"
            f" pH {readings['ph']}\n" + "\n".join(lines) + "\nEND\n"
        )
        redox = Counter({name: amounts[name] for name in ("Ocl", "Obr", "Br")})
        return self._run(text), Ledger(redox, readings["total_dissolved_solids_mg_l"])

    def _react(self, reactants: Mapping[str, float]) -> dict[str, float] | None:
        lines = [f" {formula} {moles:.15g}" for formula, moles in reactants.items() if moles]
        if not lines:
            return None
        return self._run(
            "USE solution 1\nREACTION 1\n" + "\n".join(lines) + "\n 1.0 moles\nSAVE solution 1\nEND\n"
        )

    def _step(self, step: Mapping[str, Any], volume_l: float, ledger: Ledger) -> dict[str, float] | None:
        if "add" in step:
            return self._add(step, volume_l, ledger)
        if "replace_fraction" in step:
            return self._replace(step, ledger)
        if "open_to_air_log10_pco2_atm" in step:
            pressure = step["open_to_air_log10_pco2_atm"]
            return self._run(
                f"USE solution 1\nEQUILIBRIUM_PHASES 1\n CO2(g) {pressure} 10\nSAVE solution 1\nEND\n"
            )
        if "temperature_c" in step:
            return self._heat(step["temperature_c"])
        if "free_chlorine_used_mg_l" in step:
            used = step["free_chlorine_used_mg_l"]
            held = ledger.redox["Ocl"]
            moles = held if used == "all" else min(held, used / 70906)
            return self._react(spend(ledger, {"Ocl": moles}))
        ledger.redox["H2O2"] = 0
        return self._react(spend(ledger, {name: ledger.redox[name] for name in OXIDANT_ORDER}))

    def _add(self, step: Mapping[str, Any], volume_l: float, ledger: Ledger) -> dict[str, float] | None:
        substance = step["add"]
        named, dry = MASSES[substance]
        moles = step["mass_g"] * step.get("active_fraction", 1.0) / named / volume_l
        ledger.solids_mg_l += 1000 * moles * dry
        reactants = Counter({formula: n * moles for formula, n in REACTANTS[substance].items()})
        for name, amount in OXIDANTS_ADDED.get(substance, {}).items():
            ledger.redox[name] += amount * moles
        if substance in OXIDANTS_ADDED:
            reactants.update(meet(ledger))
        return self._react(reactants)

    def _replace(self, step: Mapping[str, Any], ledger: Ledger) -> dict[str, float]:
        fraction = step["replace_fraction"]
        fill = self._solution(2, step["fill"], step.get("fill_background_mmol_l"))[1]
        for name in set(ledger.redox) | set(fill.redox):
            ledger.redox[name] = (1 - fraction) * ledger.redox[name] + fraction * fill.redox[name]
        ledger.solids_mg_l = (1 - fraction) * ledger.solids_mg_l + fraction * fill.solids_mg_l
        found = self._run(f"MIX 1\n 1 {1 - fraction:.15g}\n 2 {fraction:.15g}\nSAVE solution 1\nEND\n")
        found = self._react(meet(ledger)) or found
        return self._heat(step["temperature_c"]) if "temperature_c" in step else found

    def _heat(self, temperature_c: float) -> dict[str, float]:
        return self._run(f"USE solution 1\nREACTION_TEMPERATURE 1\n {temperature_c}\nSAVE solution 1\nEND\n")

    @staticmethod
    def _figures(found: Mapping[str, float], ledger: Ledger) -> dict[str, float]:
        return {
            "temperature_c": found["temperature_c"],
            "ph": found["ph"],
            "total_alkalinity_mg_l": found["alkalinity_eq"] * 50043.5,
            "carbonate_alkalinity_mg_l": found["carbonate_alkalinity_eq"] * 50043.5,
            "dissolved_inorganic_carbon_mmol_l": found["dic"] * 1000,
            "calcium_hardness_mg_l": found["ca"] * 100087,
            "cyanuric_acid_mg_l": found["cya"] * 129070,
            "borate_mg_l": found["b"] * 10810,
            "free_chlorine_mg_l": found["ocl"] * 70906,
            "hypochlorous_acid_mg_l": found["hocl"] * 70906,
            "hypochlorite_mg_l": found["oclm"] * 70906,
            "total_bromine_mg_l": found["obr"] * 159808,
            "hypobromous_acid_mg_l": found["hobr"] * 159808,
            "bromide_mg_l": found["br"] * 79904,
            "total_dissolved_solids_mg_l": ledger.solids_mg_l,
            "saturation_index": found["saturation_index"],
            "log10_pco2_atm": found["log10_pco2_atm"],
        }


def initial_amounts(readings: Mapping[str, Any], background: Mapping[str, float] | None) -> dict[str, float]:
    """mol/kgw of each PHREEQC element, with the charge closed and the solids made up as how_made says."""
    amounts = {
        "Alkalinity": readings["total_alkalinity_mg_l"] / 50043.5,
        "Ca": readings["calcium_hardness_mg_l"] / 100087,
        "Cya": readings["cyanuric_acid_mg_l"] / 129070,
        "B": readings["borate_mg_l"] / 10810,
        "Ocl": readings["free_chlorine_mg_l"] / 70906,
        "Obr": readings["total_bromine_mg_l"] / 159808,
        "Br": readings["bromide_mg_l"] / 79904,
        "Na": 0.0,
        "K": 0.0,
        "Mg": 0.0,
        "Cl": 0.0,
        "S(6)": readings.get("sulfate_mg_l", 0.0) / 96060,
    }
    for ion, mmol in (background or {}).items():
        amounts["S(6)" if ion == "SO4" else ion] = mmol / 1000
    positive = amounts["Na"] + amounts["K"] + 2 * amounts["Mg"] + 2 * amounts["Ca"]
    short = amounts["Alkalinity"] + amounts["Cl"] + 2 * amounts["S(6)"] + amounts["Br"] - positive
    amounts["Na" if short > 0 else "Cl"] += abs(short)
    if background is None:
        grams = {
            "Ca": 40.078,
            "Na": 22.990,
            "Cl": 35.453,
            "Br": 79.904,
            "Alkalinity": 61.017,
            "B": 61.83,
            "Cya": 129.07,
            "Ocl": 52.46,
            "Obr": 96.91,
            "S(6)": 96.06,
        }
        known = 1000 * sum(mass * amounts[name] for name, mass in grams.items())
        salt = max(readings["total_dissolved_solids_mg_l"] - known, 0.0) / 58443
        amounts["Na"] += salt
        amounts["Cl"] += salt
    return amounts


def without_trace(moles: float) -> float:
    """An amount, or zero where only a trace is left."""
    return moles if moles > TRACE_MOL else 0.0


def spend(ledger: Ledger, amounts: Mapping[str, float]) -> Counter[str]:
    """Reactants that turn oxidants into their acids; the ledger follows."""
    reactants: Counter[str] = Counter()
    for name, wanted in amounts.items():
        moles = without_trace(min(wanted, NEARLY_ALL * ledger.redox[name]))
        ledger.redox[name] -= moles
        if name == "Obr":
            ledger.redox["Br"] += moles
        for formula, n in SPENT[name].items():
            reactants[formula] += n * moles
    return reactants


def meet(ledger: Ledger) -> Counter[str]:
    """Reactants for neutralisers meeting oxidants, then oxidants meeting bromide, as the conventions say."""
    reactants: Counter[str] = Counter()
    for neutraliser, capacity in (("Sulfite", 1), ("Thi", 4), ("H2O2", 1)):
        met = {}
        left = without_trace(capacity * ledger.redox[neutraliser])
        for name in OXIDANT_ORDER:
            met[name] = without_trace(min(left, NEARLY_ALL * ledger.redox[name]))
            left -= met[name]
        used = min(sum(met.values()), NEARLY_ALL * capacity * ledger.redox[neutraliser])
        reactants.update(spend(ledger, met))
        ledger.redox[neutraliser] -= used / capacity
        if neutraliser == "Thi":
            reactants.update({"H2Thi": -used / 4, "H2SO4": used / 2})
    ledger.redox["Sulfite"] = 0
    for name, spent_acid in (("Ocl", {"HOcl": -1, "HCl": 1}), ("Pms", {"HPms": -1, "H2SO4": 1})):
        moles = without_trace(NEARLY_ALL * min(ledger.redox[name], ledger.redox["Br"]))
        ledger.redox[name] -= moles
        ledger.redox["Br"] -= moles
        ledger.redox["Obr"] += moles
        for formula, n in {**spent_acid, "HBr": -1, "HObr": 1}.items():
            reactants[formula] += n * moles
    return reactants
