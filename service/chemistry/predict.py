"""What a water becomes: the `predict` entry point.

A request is read whole and every fault in it is reported at once; only then is it worked out.
`python -m service.chemistry predict --help` shows the form of request and response.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from . import limits, steps
from .equilibrium import Equilibrium, solve
from .errors import FieldError, InputError
from .limits import Limit
from .readings import parse_readings
from .substances import SUBSTANCES
from .totals import Water
from .units import CHLORINE_G_MOL
from .water import BACKGROUND_IONS, HARDNESS, figures, water_from_readings

# Finer than any of these figures is known, and short enough to read.
DECIMALS = 6
ALL = "all"
LABEL_FIRST = (
    "The product label and local code come first; these figures assume the stated volume and strength."
)
# Carbonate that leaves as scale is not modelled; above this index it may.
SCALING_INDEX = 0.5
SCALING = (
    "The saturation index is above 0.5: if scale forms, pH, alkalinity and hardness end lower than this."
)

Change = Callable[[Water], Water]


def predict(request: Mapping[str, Any]) -> dict[str, Any]:
    """The figures of a water before and after a sequence of steps.

    request   {"volume_l", "readings", "background_mmol_l", "steps"} as the command line takes it.

    Returns {"before": figures, "after": figures, "assumed": names of what was taken as 0, at its bound
    or as all there is, because it is not known, "cautions": sentences}. Raises InputError that lists
    every fault.

    >>> answer = predict({
    ...     "volume_l": 1250,
    ...     "readings": {"temperature_c": 38, "ph": 7.4, "total_alkalinity_mg_l": 100,
    ...                  "calcium_hardness_mg_l": 150, "total_dissolved_solids_mg_l": 800},
    ...     "steps": [{"add": "sodium_bicarbonate", "mass_g": 100}],
    ... })
    >>> answer["before"]["ph"], round(answer["after"]["ph"], 2)
    (7.4, 7.53)
    >>> round(answer["after"]["total_alkalinity_mg_l"], 1)
    147.7
    """
    given = _Request()
    given.read(request)
    if given.errors or given.water is None:
        raise InputError(given.errors)
    before = solve(given.water, near_ph=given.ph)
    waters = [given.water]
    for change in given.changes:
        waters.append(change(waters[-1]))
    after = _solve_last(waters, before.ph)
    return {
        "before": _rounded(figures(given.water, before)),
        "after": _rounded(figures(waters[-1], after)),
        "assumed": given.assumed,
        "cautions": _cautions(waters[-1], after, doses=given.doses),
    }


def _solve_last(waters: list[Water], near_ph: float) -> Equilibrium:
    """The equilibrium at the end; InputError names the first step that left pH 2 to 12."""
    try:
        return solve(waters[-1], near_ph=near_ph)
    except InputError:
        for number, water in enumerate(waters[1:]):
            solve(water, near_ph=near_ph, field=f"steps.{number}")
        raise


def _cautions(water: Water, after: Equilibrium, *, doses: int) -> list[str]:
    index = None if HARDNESS in water.not_known else after.saturation_index
    scaling = index is not None and index > SCALING_INDEX
    return [LABEL_FIRST] * bool(doses) + [SCALING] * scaling


def _rounded(values: Mapping[str, float | None]) -> dict[str, float | None]:
    # Adding 0.0 turns a negative zero into zero.
    return {name: None if value is None else round(value, DECIMALS) + 0.0 for name, value in values.items()}


@dataclass
class _Request:
    """A request as far as it has been read, with every fault found in it so far."""

    errors: list[FieldError] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    water: Water | None = None
    ph: float = 7.5
    volume_l: float | None = None
    doses: int = 0

    def read(self, request: Any) -> None:
        if not isinstance(request, Mapping):
            self.fault("request", "The request must be an object with volume_l, readings and steps")
            return
        self.volume_l = self.number(request.get("volume_l"), limits.VOLUME, "volume_l")
        self.water = self.water_at(request, "readings", "background_mmol_l", "")
        given = request.get("steps")
        if given is None:
            return
        if not isinstance(given, list):
            self.fault("steps", "Steps must be a list")
            return
        for number, step in enumerate(given):
            self.read_step(step, f"steps.{number}")

    def fault(self, path: str, message: str) -> None:
        self.errors.append(FieldError(path, message))

    def number(self, raw: Any, limit: Limit, path: str) -> float | None:
        """A number inside its limit, or None once the fault is noted."""
        if raw is None:
            self.fault(path, f"{limit.label} is needed: {limit.range_words}")
            return None
        checked = limit.check(raw, path)
        if isinstance(checked, FieldError):
            self.errors.append(checked)
            return None
        return float(checked)

    def water_at(
        self, holder: Mapping[str, Any], readings_key: str, background_key: str, prefix: str
    ) -> Water | None:
        """The water of the readings in `holder`, or None once their faults are noted."""
        background = self.background(holder.get(background_key), f"{prefix}{background_key}")
        raw = holder.get(readings_key)
        path = f"{prefix}{readings_key}"
        if raw is None:
            self.fault(path, "Readings are needed: at least temperature, pH and total alkalinity")
            return None
        try:
            readings = parse_readings(raw, path=path)
            water, assumed = water_from_readings(readings, background_mmol_l=background, path=path)
        except InputError as refused:
            self.errors += refused.errors
            return None
        if prefix == "":
            self.ph = readings["ph"].value
            self.assumed += assumed
        else:
            self.assumed += [
                f"{prefix}{'fill_' if name.startswith('background') else 'fill.'}{name}" for name in assumed
            ]
        return water

    def background(self, raw: Any, path: str) -> dict[str, float] | None:
        if raw is None:
            return None
        if not isinstance(raw, Mapping):
            self.fault(path, f"Background ions must be an object of {', '.join(BACKGROUND_IONS)} in mmol/L")
            return None
        ions = {}
        for ion, amount in raw.items():
            if ion not in BACKGROUND_IONS:
                self.fault(f"{path}.{ion}", f"Unknown ion; known are {', '.join(BACKGROUND_IONS)}")
            elif amount is not None:
                ions[ion] = self.number(amount, limits.BACKGROUND_ION, f"{path}.{ion}") or 0.0
        return ions or None

    def read_step(self, raw: Any, path: str) -> None:
        if not isinstance(raw, Mapping):
            self.fault(path, f"A step must be an object with one of {', '.join(_STEP_KINDS)}")
            return
        step = {key: value for key, value in raw.items() if value is not None}
        kinds = [kind for kind in _STEP_KINDS if kind in step]
        if "temperature_c" in kinds and "replace_fraction" in kinds:
            kinds.remove("temperature_c")
        if len(kinds) != 1:
            self.fault(path, f"A step must do exactly one of {', '.join(_STEP_KINDS)}")
            return
        reader, keys = _STEP_KINDS[kinds[0]]
        for unknown in sorted(map(str, step.keys() - {kinds[0], *keys})):
            self.fault(f"{path}.{unknown}", f"Unknown part of a step that has {kinds[0]}")
        change = reader(self, step, path)
        if change is not None:
            self.changes.append(change)


def _read_add(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    substance = step["add"]
    if not isinstance(substance, str) or substance not in SUBSTANCES:
        given.fault(f"{path}.add", f"Unknown substance; known are {', '.join(SUBSTANCES)}")
        return None
    mass_g = given.number(step.get("mass_g"), limits.MASS, f"{path}.mass_g")
    active = given.number(step.get("active_fraction", 1.0), limits.ACTIVE_FRACTION, f"{path}.active_fraction")
    volume_l = given.volume_l
    given.doses += 1
    if mass_g is None or active is None or volume_l is None:
        return None
    return lambda water: steps.add(
        water, substance=substance, mass_g=mass_g, volume_l=volume_l, active_fraction=active
    )


def _read_replace(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    fraction = given.number(step["replace_fraction"], limits.REPLACE_FRACTION, f"{path}.replace_fraction")
    fill = given.water_at(step, "fill", "fill_background_mmol_l", f"{path}.")
    temperature_c = None
    if "temperature_c" in step:
        temperature_c = given.number(step["temperature_c"], limits.TEMPERATURE, f"{path}.temperature_c")
    if fraction is None or fill is None:
        return None
    return lambda water: steps.replace(water, fraction=fraction, fill=fill, temperature_c=temperature_c)


def _read_air(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    path = f"{path}.open_to_air_log10_pco2_atm"
    pressure = given.number(step["open_to_air_log10_pco2_atm"], limits.LOG10_PCO2, path)
    if pressure is None:
        return None
    return lambda water: steps.open_to_air(water, log10_pco2_atm=pressure, field=path)


def _read_temperature(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    temperature_c = given.number(step["temperature_c"], limits.TEMPERATURE, f"{path}.temperature_c")
    if temperature_c is None:
        return None
    return lambda water: steps.change_temperature(water, temperature_c=temperature_c)


def _read_used(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    raw, path = step["free_chlorine_used_mg_l"], f"{path}.free_chlorine_used_mg_l"
    if raw == ALL:
        return lambda water: steps.use_free_chlorine(water, free_chlorine_mg_l=None)
    if isinstance(raw, str):
        given.fault(path, f'Free chlorine used must be a number of mg/L as Cl2, or "{ALL}"')
        return None
    used = given.number(raw, limits.FREE_CHLORINE_USED, path)
    if used is None:
        return None

    def use(water: Water) -> Water:
        held = water.totals.chlorine_i * CHLORINE_G_MOL * 1000
        if used > held * (1 + 1e-9):
            given.assumed.append(path)
        return steps.use_free_chlorine(water, free_chlorine_mg_l=used)

    return use


def _read_used_up(given: _Request, step: Mapping[str, Any], path: str) -> Change | None:
    if step["oxidiser_used_up"] is not True:
        given.fault(f"{path}.oxidiser_used_up", "Must be true; leave the step out otherwise")
        return None
    return steps.use_up_oxidiser


_STEP_KINDS: Mapping[
    str, tuple[Callable[[_Request, Mapping[str, Any], str], Change | None], frozenset[str]]
] = {
    "add": (_read_add, frozenset({"mass_g", "active_fraction"})),
    "replace_fraction": (_read_replace, frozenset({"fill", "fill_background_mmol_l", "temperature_c"})),
    "open_to_air_log10_pco2_atm": (_read_air, frozenset()),
    "free_chlorine_used_mg_l": (_read_used, frozenset()),
    "oxidiser_used_up": (_read_used_up, frozenset()),
    "temperature_c": (_read_temperature, frozenset()),
}
