"""Visits that ended, found by words and filters that stand in the address, in the order asked for."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.http import QueryDict

from accounts.models import Person
from accounts.roles import Action
from service.shell.days import DayField
from service.sites.listing import (
    MOST_LISTED,
    ROWS_PER_PAGE,
    Column,
    CountedPages,
    Listing,
    containing,
    heads_of,
    known_sort,
    order_of,
    words_field,
)
from service.sites.visible import visible_spas
from service.visits.forms_plan import who_carries_out_visits
from service.visits.models import (
    ENDED_WITHOUT_SIGNING,
    OPEN_STATES,
    Amendment,
    Record,
    Verdict,
    Visit,
    VisitState,
)
from service.visits.visible import visible_visits

WORDS = ("name", "reference", "site__name", "site__client__name")
# How the firm divides its work among its people is not the client's to read.
OF_THE_FIRM_ONLY = (VisitState.HANDED_OVER, VisitState.CANCELLED)
STATES = (("", "Any"), ("signed", "Signed"), ("amended", "Amended"), ("unsigned", "Ended unsigned"))
DAY, NEWEST_FIRST, TECHNICIAN = "day", "-day", "technician"
SEALED = ("spa__site__access_code", "spa__site__access_notes")
COLUMNS = (
    Column("spa", "Spa", ("spa__name", "spa__site__name", "planned_on")),
    Column(DAY, "Day", ("planned_on", "ended_at")),
    Column("site", "Site", ("spa__site__name", "spa__name", "planned_on")),
    Column(TECHNICIAN, "Technician", ("technician__name", "planned_on")),
    Column("ended", "How it ended", ("state", "verdict", "planned_on")),
    Column("record", "Record"),
)


class RecordFilter(forms.Form):
    """The words and filters, for ``person``: who went there only for those who see staff names."""

    q = words_field()
    start = DayField(name="From", first_year=2000, required=False)
    end = DayField(name="To", first_year=2000, required=False)
    technician = forms.ModelChoiceField(
        label="Technician",
        queryset=Person.objects.none(),
        required=False,
        empty_label="Everybody",
        error_messages={"invalid_choice": "Choose a technician from the list."},
    )
    verdict = forms.ChoiceField(label="Verdict", choices=[("", "Any"), *Verdict.choices], required=False)
    state = forms.ChoiceField(label="State", choices=STATES, required=False)
    spa = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["technician"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = who_carries_out_visits(person)
        if not person.may(Action.SEE_STAFF_NAMES):
            del self.fields["technician"]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        start, end = given.get("start"), given.get("end")
        if start and end and end < start:
            self.add_error("end", f"To must not be before {start.isoformat()}.")
        return given

    def asked(self) -> dict[str, Any]:
        """What can be read of the address; what cannot narrows nothing and is told at its field."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


def columns_for(person: Person) -> list[Column]:
    """The columns of the list that ``person`` may see."""
    names = person.may(Action.SEE_STAFF_NAMES)
    return [column for column in COLUMNS if names or column.key != TECHNICIAN]


def ended_visits(person: Person, asked: Mapping[str, Any]) -> QuerySet[Visit]:
    """Visits that ended and that ``person`` may see, narrowed by what ``RecordFilter.asked`` gives."""
    rows = _narrowed(person, asked)
    if words := asked.get("q"):
        spas = visible_spas(person).filter(containing(words, WORDS))
        rows = rows.filter(spa__in=spas.order_by().values("pk"))
    return rows


def listed_records(person: Person, given: QueryDict) -> Listing[Visit]:
    """One page of the visits that ended, in the order that the address ``given`` asks for.

    Costs the same whatever the number of visits: they are counted up to MOST_LISTED, and where more fit,
    the first MOST_LISTED can be turned through and the order is by day (``heads`` offer no other).
    Keys are sorted and cut first; only the rows of the page are loaded with what stands beside them.
    """
    form = RecordFilter(given, person=person)
    asked, columns = form.asked(), columns_for(person)
    rows = ended_visits(person, asked)
    sort = known_sort(given.get("sort", ""), columns, NEWEST_FIRST)
    count = rows.order_by()[: MOST_LISTED + 1].count()
    if count > MOST_LISTED:
        columns = [column if column.key == DAY else replace(column, order_by=()) for column in columns]
        sort = known_sort(sort, columns, NEWEST_FIRST)
        rows = _by_day(person, asked)
    else:
        # The limit keeps the database from walking all visits in their order to find these few.
        rows = Visit.objects.filter(pk__in=rows.order_by()[: MOST_LISTED + 1].values("pk"))
    keys = rows.order_by(*order_of(sort, columns)).values_list("pk", flat=True)
    page = CountedPages(keys, ROWS_PER_PAGE, min(count, MOST_LISTED)).get_page(given.get("page"))
    page.object_list = _loaded(list(page.object_list))
    return Listing(page, heads_of(sort, columns), form, bool(asked), is_cut=count > MOST_LISTED)


def _narrowed(person: Person, asked: Mapping[str, Any]) -> QuerySet[Visit]:
    """By everything but the words."""
    rows = visible_visits(person).filter(_state(asked))
    if not person.may(Action.SEE_FIRM):
        rows = rows.exclude(state__in=OF_THE_FIRM_ONLY)
    equal = {name: asked[name] for name in ("technician", "spa", "verdict") if name in asked}
    if "start" in asked:
        equal["planned_on__gte"] = asked["start"]
    if "end" in asked:
        equal["planned_on__lte"] = asked["end"]
    if asked.get("state") == "amended":
        # Found by the record, so that joining its amendments does not double a row.
        equal["record__in"] = Record.objects.filter(amendments__isnull=False).order_by().values("pk")
    return rows.filter(**equal)


def _state(asked: Mapping[str, Any]) -> Q:
    if asked.get("state") == "unsigned":
        return Q(state__in=ENDED_WITHOUT_SIGNING)
    if asked.get("state") or asked.get("verdict"):
        return Q(state=VisitState.SIGNED)
    # Told by what is left out, most visits having ended: so the days are walked, not the states.
    return ~Q(state__in=OPEN_STATES)


def _by_day(person: Person, asked: Mapping[str, Any]) -> QuerySet[Visit]:
    """``ended_visits``, asked so that the words are looked for at the spa of one visit after the other."""
    rows = _narrowed(person, asked)
    if words := asked.get("q"):
        spas = visible_spas(person).filter(containing(words, WORDS), pk=OuterRef("spa"))
        rows = rows.filter(Exists(spas.order_by()))
    return rows


def _loaded(keys: Sequence[Any]) -> list[Visit]:
    """The visits of these keys, in their order, each with its record and the corrections of it."""
    rows = Visit.objects.filter(pk__in=keys).select_related("spa__site__client", "technician", "record")
    rows = rows.defer(*SEALED, "record__content", "record__canonical")
    corrections = Prefetch("record__amendments", Amendment.objects.only("record"))
    found = {row.pk: row for row in rows.order_by().prefetch_related(corrections)}
    return [found[key] for key in keys]
