"""The request of `treat`, checked: every fault is found and named with its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final

from service.chemistry.errors import FieldError, InputError
from service.chemistry.guidelines import Guideline, check_choice
from service.chemistry.guidelines import get as get_guideline
from service.chemistry.readings import Reading, parse_readings
from service.chemistry.substances import SUBSTANCES
from service.chemistry.treatment.holds import HOLDS
from service.chemistry.treatment.products import Product, is_number, parse_products

SANITISERS: Final = ("chlorine", "bromine", "other")
SETTINGS: Final = ("indoor", "outdoor")
VOLUME_BASES: Final = ("plate", "measured", "guess")
SHELLS: Final = ("acrylic", "wood", "vinyl", "stainless_steel")
UNITS: Final = ("metric", "us")
SIGNS: Final = ("strong_smell", "full_feeder", "after_shock", "cloudy")
SMALLEST_VOLUME_L: Final = 100.0
LARGEST_VOLUME_L: Final = 20_000.0
SANITISER_PARAMETER: Final = {"chlorine": "free_chlorine_mg_l", "bromine": "total_bromine_mg_l"}

# name: lowest, highest, unit
_NUMBERS: Final[dict[str, tuple[float, float, str]]] = {
    "bathers_expected": (0, 100, "people"),
    "minutes_on_site": (0, 1440, "minutes"),
    "heater_kw": (0.1, 100, "kW"),
    "fill_l_per_minute": (0.1, 1000, "L/min"),
    "breakpoint_attempts": (0, 100, "attempts"),
    "forecast_sanitiser_mg_l": (0, 200, "mg/L"),
    "forecast_minutes_until_inside": (0, 20_160, "minutes"),
    "minutes_until_use": (0, 20_160, "minutes"),
}
_CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "setting": SETTINGS,
    "volume_basis": VOLUME_BASES,
    "shell": SHELLS,
    "units": UNITS,
    "changeover_from": ("chlorine", "bromine"),
}


@dataclass(frozen=True)
class Recent:
    """Something added before these readings: substance, grams, when, and whether as a slow tablet."""

    substance: str
    mass_g: float
    at: datetime | None
    in_feeder: bool


@dataclass(frozen=True)
class Request:
    """A checked request. Fields are those of the contract; what is absent is None or empty."""

    volume_l: float
    sanitiser: str
    readings: Mapping[str, Reading]
    guideline: Guideline
    products: tuple[Product, ...]
    fill: Mapping[str, Reading] | None = None
    volume_basis: str = "plate"
    setting: str = "outdoor"
    shell: str = "acrylic"
    units: str = "metric"
    forbidden: frozenset[str] = frozenset()
    recent: tuple[Recent, ...] = ()
    holds: tuple[str, ...] = ()
    signs: frozenset[str] = frozenset()
    inspection: Mapping[str, bool] = field(default_factory=dict)
    numbers: Mapping[str, float] = field(default_factory=dict)
    fresh_fill: bool = False
    drain_planned: bool = False
    interference_remover: bool = False
    portable: bool = True
    changeover_from: str | None = None
    at: datetime | None = None
    background: Mapping[str, float] | None = None
    fill_background: Mapping[str, float] | None = None

    def number(self, name: str) -> float | None:
        """An optional figure of the request, None where it is not known."""
        return self.numbers.get(name)

    @property
    def halogen(self) -> str:
        """The reading that speaks for the sanitiser."""
        return SANITISER_PARAMETER[self.sanitiser]


def parse_request(raw: Any) -> Request:
    """The request of `treat`, checked.

    Raises InputError with every fault found: the field's path, and the limit and unit in words.

    >>> try:
    ...     parse_request({"volume_l": -5, "sanitiser": "chlorine", "readings": {}, "guideline": "dc_25c"})
    ... except InputError as refused:
    ...     [error.field for error in refused.errors]
    ['volume_l', 'readings.ph']
    """
    if not isinstance(raw, Mapping):
        raise InputError([FieldError("", "The request must be a JSON object")])
    faults: list[FieldError] = []
    sanitiser = raw.get("sanitiser")
    if sanitiser not in SANITISERS:
        faults.append(FieldError("sanitiser", f"Sanitiser must be one of {', '.join(SANITISERS)}"))
    faults += [*_volume_faults(raw), *_choice_faults(raw), *_number_faults(raw), *_flag_faults(raw)]
    readings = _readings(raw, "readings", faults)
    fill = _readings(raw, "fill", faults) if raw.get("fill") is not None else None
    faults += _needed(raw, readings)
    guideline = _guideline(raw, sanitiser, faults)
    products, wrong = parse_products(raw.get("products", []), sanitiser=str(sanitiser))
    faults += wrong
    forbidden = _names(raw, "forbidden_substances", tuple(SUBSTANCES), faults)
    holds = _names(raw, "holds", tuple(HOLDS), faults)
    signs = _names(raw, "signs", SIGNS, faults)
    recent = _recent(raw, faults)
    at = _time(raw.get("at"), "at", faults)
    if faults or guideline is None:
        raise InputError(faults)
    return Request(
        volume_l=float(raw["volume_l"]),
        sanitiser=str(sanitiser),
        readings=readings,
        guideline=guideline,
        products=products,
        fill=fill,
        volume_basis=raw.get("volume_basis") or "plate",
        setting=raw.get("setting") or "outdoor",
        shell=raw.get("shell") or "acrylic",
        units=raw.get("units") or "metric",
        forbidden=frozenset(forbidden),
        recent=recent,
        holds=holds,
        signs=frozenset(signs),
        inspection=dict(raw.get("inspection") or {}),
        numbers={name: float(raw[name]) for name in _NUMBERS if raw.get(name) is not None},
        fresh_fill=bool(raw.get("fresh_fill")),
        drain_planned=bool(raw.get("drain_planned")),
        interference_remover=bool(raw.get("interference_remover")),
        portable=raw.get("portable") is not False,
        changeover_from=raw.get("changeover_from"),
        at=at,
        background=raw.get("background_mmol_l"),
        fill_background=raw.get("fill_background_mmol_l"),
    )


def _volume_faults(raw: Mapping[str, Any]) -> list[FieldError]:
    volume = raw.get("volume_l")
    if volume is None:
        return [FieldError("volume_l", "Volume is needed, in litres, from 100 to 20000 L")]
    if not (is_number(volume) and SMALLEST_VOLUME_L <= volume <= LARGEST_VOLUME_L):
        return [FieldError("volume_l", "Volume must be from 100 to 20000 L")]
    return []


def _choice_faults(raw: Mapping[str, Any]) -> list[FieldError]:
    return [
        FieldError(name, f"{name.replace('_', ' ').capitalize()} must be one of {', '.join(choices)}")
        for name, choices in _CHOICES.items()
        if raw.get(name) is not None and raw[name] not in choices
    ]


def _number_faults(raw: Mapping[str, Any]) -> list[FieldError]:
    return [
        FieldError(name, f"{name.replace('_', ' ').capitalize()} must be from {low:g} to {high:g} {unit}")
        for name, (low, high, unit) in _NUMBERS.items()
        if raw.get(name) is not None and not (is_number(raw[name]) and low <= raw[name] <= high)
    ]


def _flag_faults(raw: Mapping[str, Any]) -> list[FieldError]:
    flags = ("fresh_fill", "drain_planned", "interference_remover", "portable")
    faults = [
        FieldError(name, f"{name.replace('_', ' ').capitalize()} must be true or false")
        for name in flags
        if raw.get(name) is not None and not isinstance(raw[name], bool)
    ]
    inspection = raw.get("inspection")
    if inspection is not None and not (
        isinstance(inspection, Mapping) and all(isinstance(answer, bool) for answer in inspection.values())
    ):
        faults.append(FieldError("inspection", "Inspection must hold true or false for each question"))
    return faults


def _readings(raw: Mapping[str, Any], name: str, faults: list[FieldError]) -> dict[str, Reading]:
    values = raw.get(name)
    if not isinstance(values, Mapping):
        faults.append(FieldError(name, f"{name.capitalize()} must be an object of readings by name"))
        return {}
    try:
        return parse_readings(values, path=name)
    except InputError as error:
        faults += error.errors
        return {}


def _needed(raw: Mapping[str, Any], readings: Mapping[str, Reading]) -> list[FieldError]:
    given = raw.get("readings")
    if isinstance(given, Mapping) and given.get("ph") is None and "ph" not in readings:
        return [
            FieldError("readings.ph", "pH is needed: nothing can be judged or dosed without it (0 to 14)")
        ]
    return []


def _guideline(raw: Mapping[str, Any], sanitiser: Any, faults: list[FieldError]) -> Guideline | None:
    name = raw.get("guideline")
    if not isinstance(name, str) or not name:
        faults.append(FieldError("guideline", "A guideline set is needed: the id of a shipped set"))
        return None
    try:
        guideline = get_guideline(name)
    except InputError as error:
        faults += error.errors
        return None
    if sanitiser in SANITISERS:
        try:
            check_choice(guideline, sanitiser=sanitiser, portable=raw.get("portable") is not False)
        except InputError as error:
            faults += error.errors
            return None
    return guideline


def _names(
    raw: Mapping[str, Any], name: str, known: tuple[str, ...], faults: list[FieldError]
) -> tuple[str, ...]:
    values = raw.get(name) or []
    if not isinstance(values, list):
        faults.append(FieldError(name, f"{name.replace('_', ' ').capitalize()} must be a list"))
        return ()
    for place, value in enumerate(values):
        if value not in known:
            faults.append(FieldError(f"{name}.{place}", f"{value!r} must be one of {', '.join(known)}"))
    return tuple(value for value in values if value in known)


def _recent(raw: Mapping[str, Any], faults: list[FieldError]) -> tuple[Recent, ...]:
    values = raw.get("recent") or []
    if not isinstance(values, list):
        faults.append(FieldError("recent", "Recent doses must be a list"))
        return ()
    doses: list[Recent] = []
    for place, value in enumerate(values):
        path = f"recent.{place}"
        if not isinstance(value, Mapping) or value.get("add") not in SUBSTANCES:
            faults.append(FieldError(f"{path}.add", f"Must be one of {', '.join(SUBSTANCES)}"))
            continue
        mass_g = value.get("mass_g")
        if not (is_number(mass_g) and mass_g >= 0):
            faults.append(FieldError(f"{path}.mass_g", "Mass must be 0 g or more"))
            continue
        at = _time(value.get("at"), f"{path}.at", faults)
        slow = value["add"] in ("trichlor", "bcdmh") and value.get("form", "tablet") == "tablet"
        doses.append(Recent(value["add"], float(mass_g), at, slow))
    return tuple(doses)


def _time(value: Any, path: str, faults: list[FieldError]) -> datetime | None:
    if value is None:
        return None
    try:
        time = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        faults.append(FieldError(path, "Time must be written as 2026-05-01T08:30:00+00:00"))
        return None
    return time if time.tzinfo is not None else time.replace(tzinfo=UTC)
