"""Can these products bring this water inside its limits at all? An independent linear programme.

Solver: scipy.optimize.linprog (HiGHS). Stoichiometry is typed here from molar masses (CIAAW 2021; the
triple salt and BCDMH from their formulas). The pH lines are PHREEQC's (phreeqpython 1.6.2): at a fixed pH
alkalinity rises in a straight line with carbon, and two points give the line. Nothing of the planner is
used but the limits of the guideline in force.
"""

from __future__ import annotations

from itertools import product as choices
from typing import Any

import numpy as np
from scipy.optimize import linprog

from service.chemistry.guidelines import band, get
from service.chemistry.readings import parse_readings
from tests.chemistry.phreeqc_reference import PhreeqcReference, PhreeqcRefusedError
from tests.chemistry.treatment_landing import NOT_READ

# Per mole: g/mol, alkalinity eq, carbon, calcium, cyanurate, active halogen (Cl2 or Br2), bromide used.
PER_MOL = {
    "sodium_bicarbonate": (84.007, 1, 1, 0, 0, 0, 0),
    "sodium_carbonate": (105.988, 2, 1, 0, 0, 0, 0),
    "sodium_bisulfate": (120.06, -1, 0, 0, 0, 0, 0),
    "hydrochloric_acid": (36.461, -1, 0, 0, 0, 0, 0),
    "borax_decahydrate": (381.37, 2, 0, 0, 0, 0, 0),
    "calcium_chloride_dihydrate": (147.01, 0, 0, 1, 0, 0, 0),
    "calcium_chloride_anhydrous": (110.98, 0, 0, 1, 0, 0, 0),
    "sodium_hypochlorite": (74.442, 1, 0, 0, 0, 1, 1),
    "calcium_hypochlorite": (142.98, 2, 0, 1, 0, 2, 2),
    "lithium_hypochlorite": (58.39, 1, 0, 0, 0, 1, 1),
    "dichlor_dihydrate": (255.98, 1, 0, 0, 1, 2, 2),
    "bcdmh": (241.47, 0, 0, 0, 0, 2, 1),
    "sodium_bromide": (102.894, 0, 0, 0, 0, 0, -1),
    "potassium_monopersulfate": (614.74, -1, 0, 0, 0, 2, 2),
    "sodium_thiosulfate_pentahydrate": (248.18, -6, 0, 0, 0, -4, -4),
    "sodium_sulfite": (126.04, -1, 0, 0, 0, -1, -1),
    "hydrogen_peroxide": (34.015, -1, 0, 0, 0, -1, -1),
}
ACID = {"sodium_bisulfate", "hydrochloric_acid"}
BASE = {"sodium_carbonate", "borax_decahydrate"}
NEUTRALISER = {"sodium_thiosulfate_pentahydrate", "sodium_sulfite", "hydrogen_peroxide"}
ISOCYANURATE = {"dichlor_dihydrate"}
HYPOCHLORITE = {"sodium_hypochlorite", "calcium_hypochlorite", "lithium_hypochlorite"}
MG_PER_EQ = 50.0435
LIMITED = (
    "ph",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "total_dissolved_solids_mg_l",
)
ROUNDS = 5
FRACTIONS = (None, 0.2, 0.4, 0.6, 0.8, 1.0)


class Possible:
    """Asks whether limits can be met, with one PHREEQC for the pH lines."""

    def __init__(self) -> None:
        self._reference = PhreeqcReference()

    def smallest_miss(self, request: dict[str, Any]) -> float:
        """The least sum of limits missed, each in shares of its range; 0 where all can be met.

        The planner keeps to rules this must keep to as well: never acid with base, hypochlorite with
        cyanurate chlorine, or a neutraliser with a sanitiser; a neutraliser only against a high reading,
        without a drain, and no further than the middle of the range (it is no acid).
        """
        at_hand = [
            product
            for product in request["products"]
            if product["substance"] in PER_MOL
            and product["substance"] not in request.get("forbidden_substances", [])
        ]
        if request["sanitiser"] == "chlorine":
            at_hand = [p for p in at_hand if p["substance"] != "potassium_monopersulfate"]
        best = float("inf")
        for barred, water in self._ways(request):
            used = [product for product in at_hand if product["substance"] not in barred]
            best = min(best, self._miss(request, used, water=water))
        return best

    def _ways(self, request: dict[str, Any]) -> list[tuple[set[str], bool]]:
        high = self._limits(request)[_halogen(request)][1]
        reads_high = high is not None and request["readings"][_halogen(request)] > high
        halogen = HYPOCHLORITE | ISOCYANURATE | {"bcdmh", "potassium_monopersulfate", "sodium_bromide"}
        ways = []
        for no_acid, no_hypochlorite, water in choices((True, False), (True, False), (True, False)):
            if water and not request.get("fill"):
                continue
            barred = set(ACID if no_acid else BASE) | (HYPOCHLORITE if no_hypochlorite else ISOCYANURATE)
            barred |= halogen if reads_high and not water else NEUTRALISER
            ways.append((barred, water))
        return ways

    def _limits(self, request: dict[str, Any]) -> dict[str, tuple[float | None, float | None]]:
        readings = {name: value for name, value in request["readings"].items() if name != "ph"}
        asked = {
            "sanitiser": request["sanitiser"],
            "setting": request["setting"],
            "readings": parse_readings(readings),
        }
        found = {}
        for name in (*LIMITED, _halogen(request)):
            limits = band(get(request["guideline"]), name, **asked)
            found[name] = (limits.low, limits.high)
        rise = band(get(request["guideline"]), "total_dissolved_solids_rise_mg_l", **asked).high
        if rise is not None and request.get("fill"):
            low, high = found["total_dissolved_solids_mg_l"]
            most = request["fill"]["total_dissolved_solids_mg_l"] + rise
            found["total_dissolved_solids_mg_l"] = (low, most if high is None else min(high, most))
        total = band(get(request["guideline"]), "total_chlorine_mg_l", **asked).high
        if total is not None and request["sanitiser"] == "chlorine":
            low, high = found["free_chlorine_mg_l"]
            found["free_chlorine_mg_l"] = (low, total if high is None else min(high, total))
        return found

    def _miss(self, request: dict[str, Any], products: list[dict[str, Any]], *, water: bool) -> float:
        """The least miss of any water the programme leads to, judged by the pH lines of that very water.

        The lines bend where cyanurate is diluted, so that the programme is also asked at fixed fractions.
        """
        limits = self._limits(request)
        start = self._levels(request, "readings")
        low, high = limits[_halogen(request)]
        if high is not None and any(product["substance"] in NEUTRALISER for product in products):
            limits[_halogen(request)] = (0.5 * ((low or 0.0) + high), high)
        fill = self._levels(request, "fill") if water else None
        columns = [_column(product, request["sanitiser"]) for product in products]
        best = float("inf")
        for fraction in FRACTIONS if water else (0.0,):
            lines = self._lines(request, start, limits["ph"])
            for _ in range(ROUNDS):
                if lines is None:
                    break
                reached = _solve(start, fill, columns, limits, lines, request, fraction)
                if reached is None:
                    break
                lines = self._lines(request, reached, limits["ph"])
                if lines is not None:
                    best = min(best, _missed(reached, limits, lines))
        return best

    def _levels(self, request: dict[str, Any], name: str) -> dict[str, float]:
        """Levels in the units of the readings, carbon in mg/L of alkalinity."""
        read = NOT_READ | request[name]
        read.setdefault("temperature_c", request["readings"]["temperature_c"])
        before = self._reference.predict({"volume_l": 1000, "readings": read, "steps": []})["before"]
        halogen = _halogen(request)
        level = {
            "total_alkalinity_mg_l": before["total_alkalinity_mg_l"],
            "carbon": before["dissolved_inorganic_carbon_mmol_l"] * MG_PER_EQ,
            "calcium_hardness_mg_l": before["calcium_hardness_mg_l"],
            "cyanuric_acid_mg_l": before["cyanuric_acid_mg_l"],
            "total_dissolved_solids_mg_l": before["total_dissolved_solids_mg_l"],
            "bromide_mg_l": read["bromide_mg_l"],
            halogen: read[halogen],
        }
        if request["sanitiser"] == "bromine":
            moles = read["free_chlorine_mg_l"] / 70.906
            level[halogen] += moles * 159.808
            level["bromide_mg_l"] -= moles * 79.904
        return level

    def _lines(
        self, request: dict[str, Any], level: dict[str, float], limits: tuple[float | None, float | None]
    ) -> list[tuple[float, float, float]] | None:
        """(sign, o, q) of each pH limit: sign x (alkalinity - q carbon - o) >= 0."""
        lines = []
        for ph, sign in ((limits[0], 1.0), (limits[1], -1.0)):
            if ph is None:
                continue
            base = max(level["total_alkalinity_mg_l"], 20 + 0.5 * level["cyanuric_acid_mg_l"])
            points = []
            for alkalinity in (base, base * 1.1):
                read = NOT_READ | {
                    "temperature_c": request["readings"]["temperature_c"],
                    "ph": ph,
                    "total_alkalinity_mg_l": alkalinity,
                    "calcium_hardness_mg_l": max(level["calcium_hardness_mg_l"], 1),
                    "cyanuric_acid_mg_l": max(level["cyanuric_acid_mg_l"], 0),
                    "total_dissolved_solids_mg_l": level["total_dissolved_solids_mg_l"],
                    _halogen(request): min(max(level[_halogen(request)], 0), 60),
                }
                asked = {"volume_l": 1000, "readings": read, "steps": []}
                try:
                    found = self._reference.predict(asked)["before"]
                except PhreeqcRefusedError:
                    return None
                points.append((alkalinity, found["dissolved_inorganic_carbon_mmol_l"] * MG_PER_EQ))
            (a1, c1), (a2, c2) = points
            q = (a2 - a1) / (c2 - c1)
            lines.append((sign, a1 - q * c1, q))
        return lines


def _halogen(request: dict[str, Any]) -> str:
    return "free_chlorine_mg_l" if request["sanitiser"] == "chlorine" else "total_bromine_mg_l"


def _column(product: dict[str, Any], sanitiser: str) -> dict[str, float]:
    """Change of every level by one g/m3 of the product."""
    mass, alkalinity, carbon, calcium, cyanurate, halogen, bromide = PER_MOL[product["substance"]]
    mmol = product["active_fraction"] / mass
    column = {
        "total_alkalinity_mg_l": alkalinity * mmol * MG_PER_EQ,
        "carbon": carbon * mmol * MG_PER_EQ,
        "calcium_hardness_mg_l": calcium * mmol * 100.087,
        "cyanuric_acid_mg_l": cyanurate * mmol * 129.07,
        "total_dissolved_solids_mg_l": product["active_fraction"],
    }
    if sanitiser == "chlorine":
        return column | {"free_chlorine_mg_l": halogen * mmol * 70.906, "bromide_mg_l": 0.0}
    return column | {
        "total_bromine_mg_l": halogen * mmol * 159.808,
        "bromide_mg_l": -bromide * mmol * 79.904,
    }


def _span(low: float | None, high: float | None) -> float:
    return high - low if low is not None and high is not None and high > low else max(high or 1, 50)


def _missed(
    level: dict[str, float],
    limits: dict[str, tuple[float | None, float | None]],
    lines: list[tuple[float, float, float]],
) -> float:
    """How far a water is outside its limits, in shares of their ranges; pH in steps of 10 mg/L."""
    total = 0.0
    for name, (low, high) in limits.items():
        if name == "ph":
            continue
        short = 0.0 if low is None else max(low - level[name], 0.0)
        over = 0.0 if high is None else max(level[name] - high, 0.0)
        total += (short + over) / _span(low, high)
    for sign, o, q in lines:
        inside = sign * (level["total_alkalinity_mg_l"] - q * level["carbon"] - o)
        total += max(-inside, 0.0) / 10.0
    return total


def _solve(
    start: dict[str, float],
    fill: dict[str, float] | None,
    columns: list[dict[str, float]],
    limits: dict[str, tuple[float | None, float | None]],
    lines: list[tuple[float, float, float]],
    request: dict[str, Any],
    fraction: float | None,
) -> dict[str, float] | None:
    """Levels of least misses by scipy: grams per m3, the replaced fraction (None: free), a slack per row.

    None where so much water would leave less than no bromide.
    """
    rows: list[list[float]] = []
    right: list[float] = []
    prices: list[float] = []

    def gradient(name: str) -> list[float]:
        moved = fill[name] - start[name] if fill else 0.0
        return [column[name] for column in columns] + [moved]

    def at_least(row: list[float], value: float, span: float) -> None:
        rows.append(row)
        right.append(value)
        prices.append(1 / span)

    for name, (low, high) in limits.items():
        if name == "ph":
            continue
        span = _span(low, high)
        if low is not None:
            at_least(gradient(name), low - start[name], span)
        if high is not None:
            at_least([-value for value in gradient(name)], start[name] - high, span)
    alkalinity, carbon = gradient("total_alkalinity_mg_l"), gradient("carbon")
    for sign, o, q in lines:
        row = [sign * (a - q * c) for a, c in zip(alkalinity, carbon, strict=True)]
        at_least(row, -sign * (start["total_alkalinity_mg_l"] - q * start["carbon"] - o), 10.0)
    decisions, slacks = len(columns) + 1, len(rows)
    matrix = np.zeros((slacks, decisions + slacks))
    matrix[:, :decisions] = rows
    matrix[:, decisions:] = np.eye(slacks)
    upper, bound = -matrix, -np.array(right)
    if request["sanitiser"] == "bromine":
        bank = [-value for value in gradient("bromide_mg_l")] + [0.0] * slacks
        upper, bound = np.vstack([upper, bank]), np.append(bound, max(start["bromide_mg_l"], 0.0))
    water = (0, 1 if fill else 0) if fraction is None else (fraction, fraction)
    bounds = [(0, None)] * len(columns) + [water] + [(0, None)] * slacks
    found = linprog([1e-9] * decisions + prices, A_ub=upper, b_ub=bound, bounds=bounds, method="highs")
    if found.x is None:
        return None
    x = found.x
    return {name: value + float(np.dot(gradient(name), x[:decisions])) for name, value in start.items()}
