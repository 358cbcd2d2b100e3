"""One search over everything a person may see: a query a kind, each with how many fit in all."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count, F, Q, QuerySet, Window
from django.urls import reverse

from accounts.models import Person
from accounts.roles import Action
from service.office.search_visits import SPA_WORDS, visits_with
from service.rounds.models import Agreement
from service.shell.days import today_at
from service.sites.listing import MOST_WORDS, containing
from service.sites.visible import visible_clients, visible_sites, visible_spas
from service.stock.models import Product
from service.visits.defects import visible_defects
from service.visits.find_records import OF_THE_FIRM_ONLY
from service.visits.models import OPEN_STATES, Visit, VisitState
from service.visits.visible import visible_visits

MOST_PER_KIND = 10
SEALED = ("site__access_code", "site__access_notes")
_DAY_FORMS = ("%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y")
_DAY_IN_WORDS = re.compile(r"\b(\d{1,2}) ([A-Za-z]{3,9})(?: (\d{4}))?\b")


@dataclass(frozen=True)
class Line:
    """One thing that fits."""

    key: Any
    name: str
    url: str
    note: str


@dataclass(frozen=True)
class Group:
    """What fits of one kind: the first lines, how many in all, and the list that holds them all.

    is_more  There are more than ``total``, which is counted no further.
    """

    key: str
    heading: str
    lines: list[Line]
    total: int
    all_url: str
    is_more: bool = False

    @property
    def is_cut(self) -> bool:
        return self.total > len(self.lines)


def found(*, by: Person, words: str) -> list[Group]:
    """Groups with at least one line, within what ``by`` may see. At most ten queries.

    Archived rows are found too and say so: somebody may ask for an old record.
    """
    groups = (look(by, words) for look in _looks(by))
    return [group for group in groups if group.lines]


def _looks(by: Person) -> Iterator[Callable[[Person, str], Group]]:
    yield from (_spas, _sites, _clients, _visits, _defects)
    if by.may(Action.SEE_FIRM):
        yield from (_agreements, _products)
    if by.may(Action.MANAGE_PEOPLE):
        yield _people


def _group(key: str, heading: str, rows: QuerySet[Any], line: Callable[[Any], Line], all_url: str) -> Group:
    # Counted in the same query as the first rows.
    listed = list(rows.annotate(fitting=Window(Count("pk")))[:MOST_PER_KIND])
    return Group(key, heading, [line(row) for row in listed], listed[0].fitting if listed else 0, all_url)


def _list(name: str, words: str, **more: str) -> str:
    return f"{reverse(name)}?{urlencode({'q': words, **more})}"


def _note(*parts: str, archived: bool = False) -> str:
    return ", ".join([part for part in parts if part] + (["archived"] if archived else []))


def _spas(by: Person, words: str) -> Group:
    rows = visible_spas(by).filter(containing(words, SPA_WORDS)).select_related("site__client").defer(*SEALED)

    def line(spa: Any) -> Line:
        gone = bool(spa.archived_at or spa.site.archived_at or spa.site.client.archived_at)
        note = _note(spa.site.name, spa.site.client.name, spa.reference, archived=gone)
        return Line(spa.pk, spa.name, reverse("sites:spa", args=[spa.pk]), note)

    return _group("spas", "Spas", rows, line, _list("sites:spas", words, state="all"))


def _sites(by: Person, words: str) -> Group:
    fields = ("name", "reference", "address", "client__name")
    rows = visible_sites(by).filter(containing(words, fields)).select_related("client")

    def line(site: Any) -> Line:
        gone = bool(site.archived_at or site.client.archived_at)
        note = _note(site.client.name, site.reference, archived=gone)
        return Line(site.pk, site.name, reverse("sites:site", args=[site.pk]), note)

    rows = rows.defer("access_code", "access_notes")
    return _group("sites", "Sites", rows, line, _list("sites:sites", words, state="all"))


def _clients(by: Person, words: str) -> Group:
    fields = ("name", "reference", "contact_name", "email", "phone")
    rows = visible_clients(by).filter(containing(words, fields))

    def line(client: Any) -> Line:
        note = _note(client.get_kind_display(), client.reference, archived=bool(client.archived_at))
        return Line(client.pk, client.name, reverse("sites:client", args=[client.pk]), note)

    return _group("clients", "Clients", rows, line, _list("sites:clients", words, state="all"))


def _visits(by: Person, words: str) -> Group:
    """By spa, day, the beginning of a record's digest, and technician where names may be seen."""
    day, rest = day_in(words, today_at(by.organisation))
    rows = visible_visits(by).filter(*([Q(planned_on=day)] if day else []))
    if not by.may(Action.SEE_FIRM):
        rows = rows.exclude(state__in=(*OF_THE_FIRM_ONLY, *OPEN_STATES))
    asked = list(dict.fromkeys(rest.split()))[:MOST_WORDS]
    found = visits_with(asked, among=rows, by=by)
    listed = found.rows.select_related("spa__site", "technician", "record").defer(
        "spa__site__access_code", "spa__site__access_notes", "record__content", "record__canonical"
    )
    lines = [_visit_line(row, by) for row in listed[:MOST_PER_KIND]] if found.total else []
    days = {"start": day.isoformat(), "end": day.isoformat()} if day else {}
    all_url = _list("visits:records", rest, **days)
    return Group("visits", "Visits", lines, found.total, all_url, found.is_more)


def _visit_line(visit: Visit, by: Person) -> Line:
    signed = visit.state == VisitState.SIGNED
    who = visit.technician.name if visit.technician and by.may(Action.SEE_STAFF_NAMES) else ""
    state = visit.get_verdict_display() if signed else visit.get_state_display()
    url = reverse("visits:record", args=[visit.record.pk]) if signed and hasattr(visit, "record") else ""
    name = f"{visit.spa.name}, {visit.planned_on.day} {visit.planned_on:%B %Y}"
    history = reverse("visits:spa_history", args=[visit.spa_id])
    return Line(visit.pk, name, url or history, _note(visit.spa.site.name, who, state))


def day_in(words: str, today: date) -> tuple[date | None, str]:
    """The day that the words name, and the words without it; a day without a year is the last one.

    >>> day_in("heron 2026-06-03", date(2026, 6, 10))
    (datetime.date(2026, 6, 3), 'heron')
    >>> day_in("3 June heron", date(2026, 6, 10))
    (datetime.date(2026, 6, 3), 'heron')
    >>> day_in("3 herons", date(2026, 6, 10))
    (None, '3 herons')
    """
    for word in words.split():
        for form in _DAY_FORMS:
            if day := _read(word, form):
                return day, " ".join(other for other in words.split() if other != word)
    spoken = _DAY_IN_WORDS.search(words)
    if spoken is None:
        return None, words
    number, month, year = spoken.groups()
    named = _read(f"{number} {month[:3]} {year or today.year}", "%d %b %Y")
    if named is None:
        return None, words
    if not year and named > today:
        named = _read(f"{number} {month[:3]} {today.year - 1}", "%d %b %Y")
    return named, f"{words[: spoken.start()]} {words[spoken.end() :]}".strip()


def _read(text: str, form: str) -> date | None:
    try:
        return datetime.strptime(text, form).date()
    except ValueError:
        return None


def _defects(by: Person, words: str) -> Group:
    fields = ("description", "closing_note", "spa__name", "spa__site__name")
    rows = visible_defects(by).filter(containing(words, fields)).select_related("spa__site")
    rows = rows.defer("spa__site__access_code", "spa__site__access_notes")

    def line(defect: Any) -> Line:
        state = "settled" if defect.closed_at else defect.get_severity_display()
        note = _note(defect.spa.name, defect.spa.site.name, state)
        return Line(defect.pk, defect.description, reverse("visits:defect", args=[defect.pk]), note)

    rows = rows.order_by(F("closed_at").asc(nulls_first=True), "-found_at", "pk")
    return _group("defects", "Defects", rows, line, _list("visits:defects", words, show="all"))


def _agreements(by: Person, words: str) -> Group:
    fields = ("spa__name", "spa__reference", "spa__site__name", "spa__site__client__name", "instructions")
    rows = Agreement.objects.filter(containing(words, (*fields, "preferred__name")))
    rows = rows.select_related("spa__site").defer("spa__site__access_code", "spa__site__access_notes")

    def line(agreement: Any) -> Line:
        ends = f"until {agreement.ends_on.day} {agreement.ends_on:%B %Y}" if agreement.ends_on else ""
        name = f"{agreement.how_often} at {agreement.spa.name}"
        note = _note(agreement.spa.site.name, ends)
        return Line(agreement.pk, name, reverse("rounds:agreement_edit", args=[agreement.pk]), note)

    return _group("agreements", "Agreements", rows, line, _list("sites:spas", words, state="all"))


def _products(by: Person, words: str) -> Group:
    rows = Product.objects.filter(containing(words, ("name", "substance")))

    def line(product: Any) -> Line:
        note = _note(product.substance.replace("_", " "), archived=bool(product.archived_at))
        return Line(product.pk, product.name, reverse("stock:product", args=[product.pk]), note)

    return _group("products", "Products", rows, line, _list("stock:products", words, state="all"))


def _people(by: Person, words: str) -> Group:
    rows = Person.objects.filter(organisation=by.organisation_id)
    rows = rows.filter(containing(words, ("name", "email", "phone"))).order_by("name", "pk")

    def line(person: Any) -> Line:
        note = _note(person.email, "" if person.is_active else "account closed")
        return Line(person.pk, person.name, reverse("accounts:person", args=[person.pk]), note)

    return _group("people", "People", rows, line, reverse("accounts:people"))
