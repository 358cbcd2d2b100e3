"""What each row of a list of agreements would do: one row is a spa and how often it is visited."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from accounts.models import Person
from service.importing.columns import KEY, KINDS
from service.importing.kind import as_text
from service.importing.known import Known, NotFound
from service.importing.models import Effect
from service.importing.named import ATTRIBUTES, COLUMNS, LINKS, Named, now
from service.importing.plan import (
    SHOWN_CHARS,
    Planned,
    Twice,
    ask_for_missing,
    check_whole,
    key_of,
    names_as_well,
    no_such_key,
    read_cells,
    start,
    text_of,
)
from service.importing.tables import Row, Table
from service.rounds.agree import refuse_contradiction
from service.rounds.models import Agreement, Frequency
from service.rounds.visible import visible_agreements

_COUNTED = {"times_a_week": Frequency.TIMES_A_WEEK, "every_weeks": Frequency.EVERY_WEEKS}
# What a new agreement is known by: spa, frequency, first day.
About = tuple[UUID, str, date]


@dataclass(frozen=True)
class Stored:
    """The agreements that some rows can be about."""

    by_key: Mapping[UUID, Agreement]
    by_about: Mapping[About, Sequence[Agreement]] = field(default_factory=dict)


@dataclass
class AgreementPlanner:
    """Plans rows of agreements. Of what is stored it looks only at the spas of the rows at hand."""

    known: Known
    by: Person
    taken: dict[UUID | About, int] = field(default_factory=dict)

    @cached_property
    def named(self) -> Named:
        return Named.of(self.by)

    def plan(self, table: Table, rows: Sequence[Row], twice: Twice) -> list[Planned]:
        """The effects of some rows; six queries."""
        stored = self._by_key(rows)
        found = [self._placed(row, twice, stored) for row in rows]
        stored = self._with_spas(stored, found)
        for one, row in zip(found, rows, strict=True):
            self._finish(table, one, row, stored)
        return found

    def _agreements(self) -> QuerySet[Agreement]:
        return visible_agreements(self.by).prefetch_related("skills", "not_with").order_by()

    def _by_key(self, rows: Iterable[Row]) -> Stored:
        keys = {key for row in rows if (key := key_of(row))}
        return Stored(self._agreements().in_bulk(keys) if keys else {})

    def _with_spas(self, stored: Stored, found: Iterable[Planned]) -> Stored:
        by_about: dict[About, list[Agreement]] = defaultdict(list)
        spas = {one.payload["parent"] for one in found if one.payload.get("parent")}
        for agreement in self._agreements().filter(spa__in=spas) if spas else ():
            by_about[agreement.spa_id, agreement.frequency, agreement.starts_on].append(agreement)
        return Stored(stored.by_key, by_about)

    def _placed(self, row: Row, twice: Twice, stored: Stored) -> Planned:
        """The row with its spa, as far as it can be found."""
        kind, spa = KINDS["agreement"], KINDS["spa"]
        one = start(kind, row, twice)
        key = key_of(row)
        own = stored.by_key.get(key) if key else None
        try:
            if text_of(row, KEY) and own is None:
                raise no_such_key(kind, text_of(row, KEY))
            if own and names_as_well(self.known, spa, row, own.spa_id):
                one.payload["parent"] = own.spa_id
            else:
                one.payload["parent"], remark = self.known.meant(spa, row.cells)
                one.remarks += [remark] if remark else []
        except NotFound as missing:
            one.wrong(missing.column, row.cells.get(missing.column, ""), str(missing))
        return one

    def _finish(self, table: Table, one: Planned, row: Row, stored: Stored) -> None:
        values = read_cells(table.columns, row, one)
        spa = one.payload.get("parent")
        agreement = self._match(row, values, spa, stored, one)
        given = self._attributes(values, agreement, one)
        if agreement is None and not one.told(KEY):
            ask_for_missing(table.kind, values, one)
        if spa:
            self._refuse_second(values, spa, agreement, one)
            if why := self.known.why_not_in_use(KINDS["spa"], agreement.spa_id if agreement else spa):
                one.wrong("spa", "", why)
        self._compare(one, given, agreement)
        one.name = self._called(one, given, agreement)[:200]
        if one.problems:
            one.effect, one.payload, one.changes = Effect.WRONG, {}, []

    def _match(
        self, row: Row, values: Mapping[str, Any], spa: UUID | None, stored: Stored, one: Planned
    ) -> Agreement | None:
        """The agreement that the row is about; None for a new one."""
        if key := key_of(row):
            agreement = stored.by_key.get(key)
            if agreement and spa and agreement.spa_id != spa:
                one.wrong("spa", "", "It belongs to another spa. A list does not move it.")
            return agreement
        if not spa or not values.get("frequency") or not values.get("starts_on"):
            return None
        found = stored.by_about.get((spa, values["frequency"], values["starts_on"]), ())
        if len(found) > 1:
            one.wrong(
                "starts_on",
                row.cells.get("starts_on", ""),
                f"{len(found)} agreements of this spa begin so: give the key.",
            )
        if len(found) == 1:
            one.remarks.append("Agreement found by its spa, frequency and first day.")
        return found[0] if found else None

    def _refuse_second(
        self, values: Mapping[str, Any], spa: UUID, agreement: Agreement | None, one: Planned
    ) -> None:
        if agreement:
            first = self.taken.setdefault(agreement.pk, one.number)
        elif values.get("frequency") and values.get("starts_on"):
            about = (spa, values["frequency"], values["starts_on"])
            first = self.taken.setdefault(about, one.number)
        else:
            return
        if first != one.number and not one.told("starts_on") and not one.told(KEY):
            one.wrong("starts_on", "", f"Row {first} is about the same agreement: spa, frequency, first day.")

    def _attributes(
        self, values: Mapping[str, Any], agreement: Agreement | None, one: Planned
    ) -> dict[str, Any]:
        """Attribute -> value of the cells that can be read; people and skills found."""
        given = {}
        for name, value in values.items():
            attribute = ATTRIBUTES.get(name, name)
            had = self._had(agreement, attribute)
            try:
                given[attribute] = self.named.read(name, value, had=had)
            except ValidationError as wrong:
                one.wrong(name, value, " ".join(wrong.messages))
        self._settle_count(given, agreement, one)
        return given

    @staticmethod
    def _had(agreement: Agreement | None, attribute: str) -> list[str]:
        if agreement is None or attribute not in ("preferred_id", "not_with"):
            return []
        stands = now(agreement, attribute)
        return stands if isinstance(stands, list) else [str(stands)]

    @staticmethod
    def _settle_count(given: dict[str, Any], agreement: Agreement | None, one: Planned) -> None:
        """Put away, as the page does, what belongs to another frequency."""
        often = given.get("frequency", agreement.frequency if agreement else "")
        for name, belongs_to in _COUNTED.items():
            if not often or often == belongs_to:
                continue
            if given.get(name) is not None:
                one.remarks.append(f"{name} is left aside: {often} has none.")
            given[name] = None

    def _compare(self, one: Planned, given: dict[str, Any], agreement: Agreement | None) -> None:
        """What the row adds or changes, and whether the whole of it can be."""
        was: dict[str, Any] = {}
        if agreement is None:
            one.effect, one.object_id = Effect.NEW, uuid4()
            differing = {name: value for name, value in given.items() if value not in ("", None, [])}
        else:
            one.object_id = agreement.pk
            was = {name: now(agreement, name) for name in given}
            differing = {name: value for name, value in given.items() if as_text(value) != as_text(was[name])}
            was = {name: was[name] for name in differing}
            one.effect = Effect.CHANGED if differing else Effect.SAME
        one.payload = {"values": differing, "was": was, "parent": one.payload.get("parent")}
        one.changes = [self._change(name, was.get(name), value) for name, value in differing.items()]
        if differing and not one.told("frequency"):
            self._check(one, differing, agreement)

    def _check(self, one: Planned, differing: Mapping[str, Any], agreement: Agreement | None) -> None:
        own = {name: value for name, value in differing.items() if name not in LINKS}
        whole = copy(agreement) if agreement else Agreement(organisation=self.by.organisation)
        check_whole(whole, own, one)
        barred = differing.get("not_with", now(agreement, "not_with") if agreement else [])
        preferred = self.named.people.get(whole.preferred_id) if whole.preferred_id else None
        try:
            refuse_contradiction(preferred, [self.named.people[UUID(key)] for key in barred])
        except ValidationError as wrong:
            one.wrong("not_with", "", " ".join(wrong.messages))

    def _change(self, attribute: str, old: Any, new: Any) -> dict[str, str]:
        name = COLUMNS.get(attribute, attribute)
        unit = KINDS["agreement"].by_head[name].unit
        return {
            "column": name,
            "old": self._shown(attribute, old, unit),
            "new": self._shown(attribute, new, unit),
        }

    def _shown(self, attribute: str, value: Any, unit: str) -> str:
        text = "" if value is None else self.named.said(attribute, value)[:SHOWN_CHARS]
        return f"{text} {unit}".rstrip() if text else ""

    def _called(self, one: Planned, given: Mapping[str, Any], agreement: Agreement | None) -> str:
        """How the preview calls the row: the spa, and how often."""
        key = agreement.spa_id if agreement else one.payload.get("parent")
        entry = self.known.shelves["spa"].entries.get(key) if key else None
        whole = copy(agreement) if agreement else Agreement()
        for name in ("frequency", "times_a_week", "every_weeks"):
            if given.get(name):
                setattr(whole, name, given[name])
        often = whole.how_often.lower()
        return f"{entry.name}, {often}" if entry else one.name
