"""What the engine says when it cannot work with what it was given."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class FieldError:
    """One thing that is wrong, and where.

    field    Dotted path in the request, such as "readings.ph" or "steps.0.mass_g".
    message  A sentence for a technician: the limit and its unit in plain words.
    """

    field: str
    message: str


class InputError(ValueError):
    """The request cannot be worked with; every reason that was found is listed.

    >>> InputError([FieldError("readings.ph", "pH must be from 0 to 14")]).as_dict()
    {'errors': [{'field': 'readings.ph', 'message': 'pH must be from 0 to 14'}]}
    """

    def __init__(self, errors: Iterable[FieldError]) -> None:
        self.errors: tuple[FieldError, ...] = tuple(errors)
        super().__init__("; ".join(f"{error.field}: {error.message}" for error in self.errors))

    def as_dict(self) -> dict[str, list[dict[str, str]]]:
        """The contract's form of the errors, ready for JSON."""
        return {"errors": [{"field": error.field, "message": error.message} for error in self.errors]}


def refuse(field: str, message: str) -> InputError:
    """An InputError with a single reason.

    >>> str(refuse("volume_l", "Volume is needed"))
    'volume_l: Volume is needed'
    """
    return InputError([FieldError(field, message)])
