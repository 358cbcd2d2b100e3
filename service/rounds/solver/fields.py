"""Reading JSON fields one by one, and saying in words what is wrong with them."""

import math
from collections.abc import Collection, Mapping
from typing import Any

MOST_ERRORS = 50
"""Errors reported at once; more would hide the first ones."""


class BadRequestError(Exception):
    """The request cannot be planned; ``errors`` says where and why."""

    def __init__(self, errors: list[dict[str, str]]) -> None:
        super().__init__("; ".join(f"{error['field']}: {error['message']}" for error in errors))
        self.errors = errors


class Fields:
    """Collects errors while fields are read, so that all of them can be shown at once."""

    def __init__(self) -> None:
        self.errors: list[dict[str, str]] = []

    def fail(self, field: str, message: str) -> None:
        """Note an error at a field."""
        if len(self.errors) < MOST_ERRORS:
            self.errors.append({"field": field, "message": message})

    def stop_if_bad(self) -> None:
        """Raise BadRequestError when anything was wrong so far."""
        if self.errors:
            raise BadRequestError(self.errors)

    def object(self, value: Any, field: str) -> Mapping[str, Any]:
        """A JSON object, or an empty one with an error noted."""
        if isinstance(value, Mapping):
            return value
        self.fail(field, "must be an object")
        return {}

    def list(self, value: Any, field: str, *, missing_ok: bool = False) -> list[Any]:
        """A JSON list, or an empty one."""
        if isinstance(value, list):
            return value
        if not (value is None and missing_ok):
            self.fail(field, "must be a list")
        return []

    def text(self, value: Any, field: str) -> str:
        """A non-empty name."""
        if isinstance(value, str) and value:
            return value
        self.fail(field, "must be a non-empty text")
        return ""

    def texts(self, value: Any, field: str) -> frozenset[str]:
        """A list of names, absent meaning none."""
        names = self.list(value, field, missing_ok=True)
        return frozenset(self.text(name, f"{field}[{i}]") for i, name in enumerate(names))

    def flag(self, value: Any, field: str) -> bool:
        """True or false, absent meaning false."""
        if value is None or isinstance(value, bool):
            return bool(value)
        self.fail(field, "must be true or false")
        return False

    def number(
        self,
        value: Any,
        field: str,
        *,
        low: float = 0,
        high: float = 1e9,
        whole: bool = False,
        unit: str = "",
    ) -> float:
        """A finite number from low to high; 0 (or low) with an error noted when it is not."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.fail(field, f"must be a number{unit and ' of ' + unit}")
            return max(low, 0.0)
        if whole and value != int(value):
            self.fail(field, f"must be whole{unit and ' ' + unit}, not {value}")
        if not low <= value <= high:
            self.fail(field, f"must be from {low:g} to {high:g}{unit and ' ' + unit}, not {value:g}")
            return max(low, 0.0)
        return value

    def optional_number(
        self,
        value: Any,
        field: str,
        *,
        low: float = 0,
        high: float = 1e9,
        whole: bool = False,
        unit: str = "",
    ) -> float | None:
        """A number, or None when it is absent or null."""
        if value is None:
            return None
        return self.number(value, field, low=low, high=high, whole=whole, unit=unit)

    def choice(self, value: Any, field: str, known: Mapping[str, int], what: str) -> int:
        """The index of a known name; 0 with an error noted when there is none of that name."""
        if isinstance(value, str) and value in known:
            return known[value]
        self.fail(field, f"there is no {what} {value!r}")
        return 0

    def unique(self, ids: Collection[str], field: str, what: str) -> dict[str, int]:
        """Names to indices; a name used twice is an error."""
        index: dict[str, int] = {}
        for i, name in enumerate(ids):
            if name in index and name:
                self.fail(f"{field}[{i}].id", f"the {what} {name!r} is listed twice")
            index.setdefault(name, i)
        return index
