"""The water of an invented tub between two visits: what the engine says of invented bathing and weather.

Invented for the demonstration only. How fast sanitiser goes, how many bathe, how much splashes out and
how far carbon dioxide leaves are drawn by lot within what is common practice, no source; what that does
to the water is computed by the engine.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from service.chemistry.predict import predict
from service.sites.models import Sanitiser, Spa

# As the engine takes them; what an instrument shows of each, and how far it may be off.
DIGITS: Mapping[str, int] = {
    "temperature_c": 1,
    "ph": 1,
    "total_alkalinity_mg_l": 0,
    "calcium_hardness_mg_l": 0,
    "cyanuric_acid_mg_l": 0,
    "total_dissolved_solids_mg_l": 0,
    "free_chlorine_mg_l": 1,
    "total_bromine_mg_l": 1,
}
NOISE: Mapping[str, float] = {
    "temperature_c": 0.1,
    "ph": 0.04,
    "total_alkalinity_mg_l": 2.5,
    "calcium_hardness_mg_l": 4.0,
    "cyanuric_acid_mg_l": 1.0,
    "total_dissolved_solids_mg_l": 10.0,
    "free_chlorine_mg_l": 0.08,
    "total_bromine_mg_l": 0.1,
}
# Where carbon dioxide is heading over hot water that is stirred with air, log10 of its pressure in atm.
_AIR_LOG10_PCO2 = -2.95
_SUPPLY_TEMPERATURE_C = 14.0


@dataclass(frozen=True)
class Habits:
    """How a tub is used: parts of the halogen lost in a day, bathers and water lost in a day."""

    halogen_loss_per_day: float
    kept_mg_l: float
    bathers_per_day: float
    splashed_per_bather: float
    days_to_air: float
    warm_c: float


class TubWater:
    """One tub's true water; the same random source gives the same water again."""

    def __init__(self, spa: Spa, chance: Random) -> None:
        self.spa, self.chance = spa, chance
        self.bromine = spa.sanitiser == Sanitiser.BROMINE
        self.halogen = "total_bromine_mg_l" if self.bromine else "free_chlorine_mg_l"
        self.combined_mg_l = 0.2
        let = spa.site.client.kind != "private"
        self.habits = Habits(
            halogen_loss_per_day=chance.uniform(0.25, 0.6),
            kept_mg_l=chance.uniform(2.0, 4.2) * (1.35 if self.bromine else 1),
            bathers_per_day=chance.uniform(1.5, 4.0) if let else chance.uniform(0.4, 1.5),
            splashed_per_bather=chance.uniform(0.002, 0.005),
            days_to_air=chance.uniform(8, 25),
            warm_c=chance.uniform(36.5, 39.0),
        )
        self.water = self._fresh(chance.uniform(150, 200)) | {self.halogen: 3.5, "ph": 7.5}

    def _fresh(self, hardness_mg_l: float) -> dict[str, float]:
        water = {
            "temperature_c": self.habits.warm_c,
            "ph": 7.6,
            "total_alkalinity_mg_l": 92.0,
            "calcium_hardness_mg_l": hardness_mg_l,
            "cyanuric_acid_mg_l": 0.0,
            "total_dissolved_solids_mg_l": 450.0,
            self.halogen: 0.0,
        }
        return water | ({"bromide_mg_l": 15.0} if self.bromine else {})

    def pass_days(self, days: float) -> None:
        """Bathing, splashing, topping up, feeding and airing until the next visit."""
        habits, chance = self.habits, self.chance
        bathers = habits.bathers_per_day * days * chance.uniform(0.5, 1.5)
        before = self.water[self.halogen]
        kept = max(0.0, habits.kept_mg_l * chance.uniform(0.35, 1.35))
        left = kept + (before - kept) * (1 - habits.halogen_loss_per_day) ** days
        lost = 1 - (1 - habits.splashed_per_bather) ** bathers
        gas = self._told()["log10_pco2_atm"]
        aired = gas + (_AIR_LOG10_PCO2 - gas) * (1 - 2 ** (-days / habits.days_to_air))
        self._after(
            [
                {"open_to_air_log10_pco2_atm": aired},
                {"replace_fraction": lost, "fill": self._supply()},
                {"temperature_c": habits.warm_c + chance.gauss(0, 0.6)},
            ]
        )
        self._set_halogen(max(0.0, left - 0.05 * bathers / max(days, 1)))
        self.water["total_dissolved_solids_mg_l"] += 3 * bathers
        self.combined_mg_l = min(
            1.4, max(0.0, 0.35 * self.combined_mg_l + 0.02 * bathers + chance.gauss(0, 0.05))
        )

    def dose(self, steps: Iterable[Mapping[str, Any]]) -> None:
        """What was really added, in the engine's form."""
        if listed := list(steps):
            self._after(listed)

    def refill(self) -> None:
        """The tub drained and filled from the tap."""
        self.combined_mg_l = 0.0
        fresh = self._fresh(140.0) | {"total_dissolved_solids_mg_l": 230.0}
        self.water = (
            fresh | {"temperature_c": _SUPPLY_TEMPERATURE_C} | ({"bromide_mg_l": 0.0} if self.bromine else {})
        )

    def read(self, parameters: Iterable[str]) -> dict[str, str]:
        """What an instrument shows of the water, as typed."""
        typed = {}
        for name in parameters:
            shown = max(0.0, self.water[name] + self.chance.gauss(0, NOISE[name]))
            typed[name] = f"{shown:.{DIGITS[name]}f}"
        if "free_chlorine_mg_l" in typed:
            typed["total_chlorine_mg_l"] = f"{float(typed['free_chlorine_mg_l']) + self.combined_mg_l:.1f}"
        return typed

    def _set_halogen(self, left: float) -> None:
        if self.bromine:
            self.water["bromide_mg_l"] += max(0.0, self.water[self.halogen] - left)
        self.water[self.halogen] = left

    def _supply(self) -> dict[str, float]:
        return {"temperature_c": _SUPPLY_TEMPERATURE_C, **self.spa.site.supply_water}

    def _told(self, steps: Iterable[Mapping[str, Any]] = ()) -> dict[str, float]:
        request = {"volume_l": self.spa.volume_l, "readings": self.water, "steps": list(steps)}
        told: dict[str, float] = predict(request)["after"]
        return told

    def _after(self, steps: Iterable[Mapping[str, Any]]) -> None:
        told = self._told(steps)
        self.water = {name: round(max(0.0, told[name]), 4) for name in self.water}
