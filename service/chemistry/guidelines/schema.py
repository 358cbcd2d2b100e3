"""Checks a data file of one guideline set and builds it; every fault names the file and the row."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar

from . import duties
from .citation import VERIFIED_LEVELS, Citation
from .duties import ClosureCondition, Duties
from .exact import Limit, exact
from .guideline import AppliesTo, Guideline
from .parameters import PARAMETERS, SANITISERS, conversion
from .rows import LIMITS, Condition, Row

Built = TypeVar("Built")


class GuidelineDataError(ValueError):
    """A data file breaks the schema; the message starts with the file and the row."""


DUTY_KINDS: Mapping[str, Callable[..., Any]] = {
    "test_frequency": duties.FrequencyOfTests,
    "record_retention": duties.RecordRetention,
    "water_replacement": duties.WaterReplacement,
    "filter_cleaning": duties.FilterCleaning,
    "drain_interval": duties.DrainInterval,
    "microbiology_intervals": duties.MicrobiologyInterval,
    "hand_dosing_closure": duties.HandDosingClosure,
    "superchlorination": duties.Superchlorination,
    "other_duties": duties.OtherDuty,
    "repeated_days": duties.RepeatedDays,
    "signage": duties.Sign,
    "record_fields": duties.RecordFields,
}

SET_TEXTS = ("id", "title", "jurisdiction", "document", "edition", "kind", "status")
SET_KEYS = {
    *SET_TEXTS,
    *("suitability", "portable_tubs", "pairs", "applies_to", "note", "rows", "closure_conditions", "rules"),
}
ROW_TEXTS = ("key", "parameter", "sanitiser", "unit", "clause", "verified")
ROW_KEYS = {*ROW_TEXTS, *LIMITS, "exclusive", "condition", "note"}
CITED_KEYS = {"clause", "verified", "note"}

CONDITION_SHAPES = (
    {"parameter", "above"},
    {"parameter", "from", "to"},
    {"outdoor"},
    {"product_family"},
    {"lasts_more_than_hours"},
)
EFFECTS = ("selects", "tightens", "widens")

ORDER = (
    ("min", "max"),
    ("min", "ideal_low"),
    ("ideal_low", "ideal_high"),
    ("ideal_high", "max"),
    ("close_below", "min"),
    ("max", "close_above"),
    ("close_below", "close_above"),
)
"""Pairs of limits whose first may not exceed their second."""

SIMPLE_TYPES: Mapping[str, type] = {"int": int, "bool": bool, "str": str, "Decimal": Decimal, "tuple": list}
"""First word of a field's declared type -> the type its value has in a data file."""

CHOICES: Mapping[str, tuple[str, ...]] = {
    "feed": ("manual", "automatic"),
    "facility": ("let", "commercial"),
    "filter": ("cartridge", "sand_or_diatomaceous_earth"),
    "detectable_from": ("reading", "task", "question", "no"),
    "reopen_applies_to": ("breakpoint",),
    "formula_id": (
        "bathers_each_day",
        "bathers_average",
        "bathers_total_since_fill",
        "bathers_since_fill_limit",
        "tds_rise",
        "tds_absolute",
        "fixed_days",
        "operator_judgement",
    ),
    "question": (
        "clarity",
        "suction_cover",
        "electrics",
        "circulation",
        "contamination_treated",
        "chemicals_approved",
        "bathers_within_limit",
    ),
}


def parse(text: str, *, file_name: str) -> Guideline:
    """The guideline set in the text of one data file.

    Raises GuidelineDataError naming file and row for anything unknown, missing or contradictory.
    """
    try:
        raw = json.loads(text, parse_float=Decimal, object_pairs_hook=_without_doubles)
    except ValueError as error:
        raise GuidelineDataError(f"{file_name}: {error}") from error
    return _Builder(file_name).guideline(raw)


def _without_doubles(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError(f"a key stands twice among {[key for key, _ in pairs]}")
    return found


def _words(hint: Any) -> str:
    """A declared type as it is written in the source."""
    return str(getattr(hint, "__forward_arg__", hint))


class _Builder:
    """Builds one set; holds where it is in the file, so that a fault can name the place."""

    def __init__(self, file_name: str) -> None:
        self.file_name = file_name
        self.document = ""
        self.edition = ""

    def fail(self, place: str, fault: str) -> GuidelineDataError:
        return GuidelineDataError(f"{self.file_name}, {place}: {fault}")

    def guideline(self, raw: Any) -> Guideline:
        self.keys("set", raw, SET_KEYS, {*SET_TEXTS, "applies_to", "rows"})
        texts = {name: self.text("set", name, raw[name]) for name in SET_TEXTS}
        if f"{texts['id']}.json" != self.file_name:
            raise self.fail("set", f"id {texts['id']} does not match the file's name")
        self.document, self.edition = texts["document"], texts["edition"]
        for name in ("portable_tubs", "pairs"):
            self.check_type("set", name, "bool", raw.get(name))
        return Guideline(
            **texts,
            suitability=raw.get("suitability"),
            applies_to=self.applies_to(raw["applies_to"]),
            note=raw.get("note", ""),
            portable_tubs=raw.get("portable_tubs", True),
            pairs=raw.get("pairs", True),
            rows=self.rows(texts["id"], raw["rows"]),
            closure_conditions=tuple(
                self.cited("closure_conditions", number, item, ClosureCondition)
                for number, item in enumerate(raw.get("closure_conditions", []), start=1)
            ),
            duties=self.duties(raw.get("rules", {})),
            parts=(texts["id"],),
        )

    def keys(self, place: str, raw: Any, allowed: set[str], needed: set[str]) -> None:
        if not isinstance(raw, dict):
            raise self.fail(place, "must be an object")
        if unknown := sorted(set(raw) - allowed):
            raise self.fail(place, f"unknown key {unknown[0]}")
        if missing := sorted(needed - set(raw)):
            raise self.fail(place, f"{missing[0]} is missing")

    def text(self, place: str, name: str, value: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise self.fail(place, f"{name} must be text")
        return value

    def applies_to(self, raw: Any) -> AppliesTo:
        self.keys("applies_to", raw, {"public", "let", "domestic", "note"}, {"public", "let", "domestic"})
        return AppliesTo(**raw)

    def rows(self, set_id: str, raw: Any) -> tuple[Row, ...]:
        rows = tuple(self.row(set_id, number, item) for number, item in enumerate(raw, start=1))
        keys = [row.key for row in rows]
        for row in rows:
            if keys.count(row.key) > 1:
                raise self.fail(f"row {row.key.partition('/')[2]}", "the key stands twice")
        return rows

    def row(self, set_id: str, number: int, raw: Any) -> Row:
        place = f"row {raw.get('key', number)}" if isinstance(raw, dict) else f"row {number}"
        self.keys(place, raw, ROW_KEYS, set(ROW_TEXTS))
        texts = {name: self.text(place, name, raw[name]) for name in ROW_TEXTS}
        self.check_names(place, texts)
        limits = {name: self.limit(place, name, raw[name]) for name in LIMITS if name in raw}
        self.check_order(place, limits)
        return Row(
            key=f"{set_id}/{texts['key']}",
            parameter=texts["parameter"],
            sanitiser=texts["sanitiser"],
            unit=texts["unit"],
            citation=self.citation(place, raw),
            exclusive=self.exclusive(place, raw.get("exclusive", []), limits),
            condition=self.condition(place, raw["condition"]) if "condition" in raw else None,
            **limits,
        )

    def check_names(self, place: str, texts: Mapping[str, str]) -> None:
        if texts["parameter"] not in PARAMETERS:
            raise self.fail(place, f"unknown parameter {texts['parameter']}")
        if texts["sanitiser"] not in ("any", *SANITISERS):
            raise self.fail(place, f"unknown sanitiser {texts['sanitiser']}")
        if conversion(texts["parameter"], texts["unit"]) is None:
            raise self.fail(place, f"{texts['unit']} is not a unit of {texts['parameter']}")

    def limit(self, place: str, name: str, value: Any) -> Limit:
        if isinstance(value, str) and value.count("/") == 1:
            return Fraction(value)
        if isinstance(value, bool) or not isinstance(value, int | Decimal) or value < 0:
            raise self.fail(place, f"{name} must be a number of 0 or more")
        return Decimal(value)

    def check_order(self, place: str, limits: Mapping[str, Limit]) -> None:
        if not limits:
            raise self.fail(place, "has no limit at all")
        for lower, upper in ORDER:
            if lower in limits and upper in limits and exact(limits[lower]) > exact(limits[upper]):
                raise self.fail(place, f"{lower} {limits[lower]} is above {upper} {limits[upper]}")

    def exclusive(self, place: str, raw: Any, limits: Mapping[str, Limit]) -> frozenset[str]:
        if unknown := sorted(set(raw) - set(limits)):
            raise self.fail(place, f"exclusive names {unknown[0]}, which the row does not hold")
        return frozenset(raw)

    def condition(self, place: str, raw: Any) -> Condition:
        self.keys(place, raw, {"effect"}.union(*CONDITION_SHAPES), {"effect"})
        rest = {name: value for name, value in raw.items() if name != "effect"}
        if raw["effect"] not in EFFECTS or set(rest) not in CONDITION_SHAPES:
            raise self.fail(place, f"condition {raw} has no known form")
        if rest.get("parameter", "ph") not in PARAMETERS:
            raise self.fail(place, f"condition names an unknown parameter {rest['parameter']}")
        numbers = {
            "above": "above",
            "from": "start",
            "to": "end",
            "lasts_more_than_hours": "lasts_more_than_hours",
        }
        limits: dict[str, Any] = {
            field: self.limit(place, name, rest.pop(name)) for name, field in numbers.items() if name in rest
        }
        return Condition(effect=raw["effect"], **limits, **rest)

    def citation(self, place: str, raw: Mapping[str, Any]) -> Citation:
        clause = self.text(place, "clause", raw["clause"])
        if raw["verified"] not in VERIFIED_LEVELS:
            raise self.fail(place, f"verified {raw['verified']} is not one of {', '.join(VERIFIED_LEVELS)}")
        return Citation(self.document, self.edition, clause, raw["verified"], raw.get("note", ""))

    def duties(self, raw: Any) -> Duties:
        self.keys("rules", raw, set(DUTY_KINDS), set())
        built: dict[str, Any] = {
            kind: tuple(
                self.cited(kind, number, item, DUTY_KINDS[kind]) for number, item in enumerate(items, start=1)
            )
            for kind, items in raw.items()
        }
        return Duties(**built)

    def cited(self, kind: str, number: int, raw: Any, cls: Callable[..., Built]) -> Built:
        """One duty or closing condition: its own fields beside clause, verified and note."""
        place = f"{kind} {number}"
        declared = {name: _words(hint) for name, hint in cls.__annotations__.items() if name != "citation"}
        own = list(declared)
        needed = set(own) - set(getattr(cls, "_field_defaults", {}))
        self.keys(place, raw, {*own, *CITED_KEYS}, {*needed, "clause", "verified"})
        for name in own:
            self.check_type(place, name, declared[name], raw.get(name))
        values = {name: self.value(place, name, raw[name]) for name in own if name in raw}
        return cls(citation=self.citation(place, raw), **values)

    def check_type(self, place: str, name: str, declared: str, value: Any) -> None:
        wanted = next((kind for word, kind in SIMPLE_TYPES.items() if declared.startswith(word)), None)
        if value is not None and wanted is not None and type(value) is not wanted:
            raise self.fail(place, f"{name} must be {declared.removesuffix(' | None')}, not {value!r}")

    def value(self, place: str, name: str, value: Any) -> Any:
        if name in CHOICES and value not in CHOICES[name]:
            raise self.fail(place, f"{name} {value} is not one of {', '.join(CHOICES[name])}")
        if name == "any_of":
            return tuple(
                {key: (Decimal(low), Decimal(high)) for key, (low, high) in item.items()} for item in value
            )
        if isinstance(value, list):
            return tuple(self.text(place, name, item) for item in value)
        if not isinstance(value, bool) and isinstance(value, int | Decimal) and value <= 0:
            raise self.fail(place, f"{name} must be above 0")
        return value
