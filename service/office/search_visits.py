"""Visits found by words among a million of them: the words are looked up first, the visits by keys then.

A word stands in the spa (or its site or client), in the technician's name, or begins a record's digest.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any
from uuid import UUID

from django.db.models import (
    BooleanField,
    CharField,
    Exists,
    ExpressionWrapper,
    F,
    OuterRef,
    Q,
    QuerySet,
    Value,
)

from accounts.models import Person
from accounts.roles import Action
from service.sites.listing import containing
from service.sites.visible import visible_spas
from service.visits.models import Record, Visit
from service.visits.visible import visible_records

SPA_WORDS = ("name", "reference", "site__name", "site__address", "site__client__name")
# Counted no further; own choice, no source.
MOST_COUNTED = 1000
# With more keys than this the words are common: they are met soon on the way back through the days.
MOST_KEYS = 5000
# A record is found by the beginning of its digest, as it is printed at its foot.
_DIGEST = re.compile(r"[0-9a-f]{6,64}", re.IGNORECASE)
_AFTER_HEX = "g"
Told = frozenset[str]


@dataclass(frozen=True)
class FoundVisits:
    """The newest first; ``total`` is counted up to MOST_COUNTED, ``is_more`` when there are more."""

    rows: QuerySet[Visit]
    total: int
    is_more: bool


def visits_with(words: Sequence[str], *, among: QuerySet[Visit], by: Person) -> FoundVisits:
    """Those of ``among`` in which each of ``words`` (no word twice) stands; two queries, and the rows."""
    condition = _by_keys(words, by) if words else Q()
    rows = among.filter(_at_each(words, by) if condition is None else condition)
    count = rows.order_by()[: MOST_COUNTED + 1].count()
    if count <= MOST_COUNTED:
        # The limit keeps the database from walking all visits in their order to find these few.
        rows = Visit.objects.filter(pk__in=rows.order_by()[: MOST_COUNTED + 1].values("pk"))
    elif condition is not None:
        rows = among.filter(_at_each(words, by))
    return FoundVisits(rows.order_by("-planned_on", "pk"), min(count, MOST_COUNTED), count > MOST_COUNTED)


def _by_keys(words: Sequence[str], by: Person) -> Q | None:
    """The condition by keys of spas, people and signed visits; None when there are too many of them."""
    every, told = frozenset(words), _where_they_stand(words, by)
    spas = told.pop("spa", {})

    def at_spas(left: Told) -> list[UUID]:
        return [key for standing, keys in spas.items() if left <= standing for key in keys]

    places = at_spas(every)
    condition, number = Q(spa__in=places), len(places)
    for field, groups in told.items():
        for standing, keys in groups.items():
            there = Q(**{f"{field}__in": keys})
            if left := every - standing:
                there &= Q(spa__in=(places := at_spas(left)))
                number += len(places)
            condition |= there
    return condition if number <= MOST_KEYS else None


def _where_they_stand(words: Sequence[str], by: Person) -> dict[str, Mapping[Told, list[UUID]]]:
    """By field of a visit: which of the words stand there -> the keys; one query."""
    first, *others = _looks(words, by)
    told: dict[str, dict[Told, list[UUID]]] = defaultdict(lambda: defaultdict(list))
    for key, field, *stands in first.union(*others, all=True):
        told[field][frozenset(word for word, is_there in zip(words, stands, strict=True) if is_there)].append(
            key
        )
    return dict(told)


def _looks(words: Sequence[str], by: Person) -> Iterator[QuerySet[Any, Any]]:
    yield _flagged(visible_spas(by), "spa", F("pk"), {word: containing(word, SPA_WORDS) for word in words})
    if by.may(Action.SEE_STAFF_NAMES):
        people = Person.objects.filter(organisation=by.organisation_id)
        yield _flagged(people, "technician", F("pk"), {word: Q(name__icontains=word) for word in words})
    digests = {word: _digest(word) if _DIGEST.fullmatch(word) else None for word in words}
    if any(digests.values()):
        yield _flagged(visible_records(by), "pk", F("visit"), digests)


def _digest(word: str) -> Q:
    """By the order of the digests, so that their index serves."""
    return Q(digest__gte=word.lower(), digest__lt=word.lower() + _AFTER_HEX)


def _flagged(
    rows: QuerySet[Any], field: str, key: F, fits: Mapping[str, Q | None]
) -> QuerySet[Any, tuple[Any, ...]]:
    """Key, field, and for each word whether it stands in the row; rows with none of them are left out.

    fits  Word -> its condition; None: it cannot stand there.
    """
    stands = {f"stands_{at}": _whether(condition) for at, condition in enumerate(fits.values())}
    some = reduce(or_, (condition for condition in fits.values() if condition is not None))
    columns = {"key": key, "of": Value(field, output_field=CharField()), **stands}
    found: QuerySet[Any, tuple[Any, ...]] = rows.filter(some).annotate(**columns).values_list(*columns)
    return found.order_by()


def _whether(condition: Q | None) -> Any:
    field = BooleanField()
    if condition is None:
        return Value(False, output_field=field)
    return ExpressionWrapper(condition, output_field=field)


def _at_each(words: Sequence[str], by: Person) -> Q:
    """The same condition, asked at one visit after the other."""
    condition = Q()
    for word in words:
        spas = visible_spas(by).filter(containing(word, SPA_WORDS), pk=OuterRef("spa"))
        fits = Q(Exists(spas.order_by()))
        if by.may(Action.SEE_STAFF_NAMES):
            fits |= Q(Exists(Person.objects.filter(pk=OuterRef("technician"), name__icontains=word)))
        if _DIGEST.fullmatch(word):
            fits |= Q(Exists(Record.objects.filter(_digest(word), visit=OuterRef("pk"))))
        condition &= fits
    return condition
