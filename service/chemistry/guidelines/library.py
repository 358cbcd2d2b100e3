"""The shipped sets: reading them from the package, choosing one, using two together."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import lru_cache

from service.chemistry.errors import InputError, refuse

from .duties import Duties
from .guideline import Guideline
from .parameters import SANITISERS
from .schema import parse

DATA = "data"
JOIN = "+"


@lru_cache(maxsize=1)
def ids() -> tuple[str, ...]:
    """Ids of all shipped sets, in alphabetical order; one data file each."""
    # Imported here: the module costs more start-up time than the rest of this package together.
    from importlib.resources import files

    names = (item.name for item in files(__package__).joinpath(DATA).iterdir())
    return tuple(sorted(name.removesuffix(".json") for name in names if name.endswith(".json")))


@lru_cache(maxsize=64)
def _shipped(set_id: str) -> Guideline:
    from importlib.resources import files

    file_name = f"{set_id}.json"
    text = files(__package__).joinpath(DATA, file_name).read_text(encoding="utf-8")
    return parse(text, file_name=file_name)


def available(*, portable: bool = False) -> tuple[Guideline, ...]:
    """Every shipped set; with portable=True only those that may be offered for a portable tub.

    >>> len(available())
    19
    """
    shipped = tuple(_shipped(set_id) for set_id in ids())
    return tuple(item for item in shipped if item.portable_tubs or not portable)


def get(guideline_id: str, *, paired_with: str | None = None) -> Guideline:
    """One set, or two used together: all rows of both apply, so the stricter limit rules.

    A pair may also be named in one id, "maine_10_144_202+dc_25c".

    Raises InputError (field "guideline") for an unknown id, listing the known ones, and for a
    pair that may not be made.

    >>> get("maine_10_144_202", paired_with="dc_25c").id
    'maine_10_144_202+dc_25c'
    """
    names = guideline_id.split(JOIN) if isinstance(guideline_id, str) else [str(guideline_id)]
    if paired_with is not None:
        names.append(paired_with)
    if len(names) > 2 or len(set(names)) != len(names):
        raise refuse("guideline", "At most two different guideline sets are used together")
    for name in names:
        if name not in ids():
            known = ", ".join(ids())
            raise refuse("guideline", f"{name or 'An empty id'} is not a guideline set; known: {known}")
    first = _shipped(names[0])
    return first if len(names) == 1 else _pair(first, _shipped(names[1]))


def _pair(first: Guideline, second: Guideline) -> Guideline:
    for item in (first, second):
        if not item.pairs:
            raise refuse("guideline", f"{item.title} is never used together with another set: {item.note}")
    duties = {
        field.name: getattr(first.duties, field.name) + getattr(second.duties, field.name)
        for field in fields(Duties)
    }
    return replace(
        first,
        id=f"{first.id}{JOIN}{second.id}",
        title=f"{first.title}, with {second.title}",
        jurisdiction=f"{first.jurisdiction}, {second.jurisdiction}",
        document=f"{first.document}; {second.document}",
        edition=f"{first.edition}; {second.edition}",
        status=f"{first.status}; {second.status}",
        note=" ".join(text for text in (first.note, second.note) if text),
        portable_tubs=first.portable_tubs and second.portable_tubs,
        rows=first.rows + second.rows,
        closure_conditions=first.closure_conditions + second.closure_conditions,
        duties=Duties(**duties),
        parts=(first.id, second.id),
    )


def check_choice(guideline: Guideline, *, sanitiser: str, portable: bool = True) -> None:
    """Refuse a set that cannot judge this spa.

    sanitiser  "chlorine", "bromine" or "other"; "other" is judged by no set and is never called fit.
    portable   A portable tub, without a flocculation plant.

    Raises InputError: field "sanitiser" when it is unknown, field "guideline" when the set is not for
    portable tubs or has no row for the sanitiser and so cannot be chosen alone.
    """
    if sanitiser not in SANITISERS:
        raise refuse("sanitiser", f"Sanitiser must be one of {', '.join(SANITISERS)}")
    if portable and not guideline.portable_tubs:
        raise refuse("guideline", f"{guideline.title}: {guideline.suitability}")
    if sanitiser == "other" or guideline.limits_sanitiser(sanitiser):
        return
    raise _no_row(guideline, sanitiser)


def _no_row(guideline: Guideline, sanitiser: str) -> InputError:
    helpers = [item.id for item in available(portable=True) if item.limits_sanitiser(sanitiser)]
    return refuse(
        "guideline",
        f"{guideline.title} has no {sanitiser} limit, so it cannot be chosen alone: pair it with a set"
        f' that has one, such as "{guideline.parts[0]}{JOIN}{helpers[0]}" (or {", ".join(helpers[1:4])})',
    )
