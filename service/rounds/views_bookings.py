"""Pages of guests' bookings: calendars and the state of their feeds, bookings by hand."""

from collections.abc import Callable, Iterable
from copy import copy
from datetime import timedelta
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds import bookings as use
from service.rounds.forms_bookings import BookingForm, CalendarFileForm, CalendarForm, booking_initial
from service.rounds.models import Booking, ChangeoverCalendar
from service.rounds.round_settings import round_settings
from service.rounds.visible import visible_bookings, visible_calendars
from service.sites.forms import done_or_told
from service.sites.listing import Column, Filters, listing, state_field, words_field
from service.sites.models import Site
from service.sites.pages import Step, form_page, trail
from service.sites.visible import visible_sites
from service.visits.clock import zone_of

MOST_BOOKINGS = 200
ABOVE = ("organisation", "site__client", "site__organisation")
COLUMNS = (
    Column("name", "Calendar", ("name",)),
    Column("site", "Site", ("site__name", "name")),
    Column("read", "Last read", ("fetched_at", "name")),
    Column("state", "State"),
)


class CalendarFilter(forms.Form):
    q = words_field()
    state = state_field()


FILTERS = Filters(
    form=CalendarFilter,
    words=("name", "site__name", "site__client__name"),
    equal={},
    archived=("archived_at",),
)


@page_for(Action.PLAN_VISITS)
@require_safe
def calendars(request: HttpRequest) -> HttpResponse:
    rows = visible_calendars(signed_in(request)).select_related("site", "spa").defer("feed_url")
    context = {"listing": listing(rows, given=request.GET, filters=FILTERS, columns=COLUMNS)}
    return render(request, "rounds/calendars.html", context)


@page_for(Action.PLAN_VISITS)
@require_safe
def calendar(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One calendar: the state of its feed, what was left out, the stays to come."""
    row = _calendar(signed_in(request), pk)
    context = {
        "calendar": row,
        "has_feed": bool(row.feed_url),
        **_to_come(row.bookings.select_related("spa")),
        "trail": [*trail(row.site), *_steps()],
    }
    return render(request, "rounds/calendar.html", context)


def _to_come(rows: QuerySet[Booking]) -> dict[str, object]:
    since = timezone.now() - timedelta(days=1)
    stays = list(rows.filter(leaves_at__gte=since).order_by("arrives_at", "pk")[: MOST_BOOKINGS + 1])
    shown = stays[:MOST_BOOKINGS]
    more = MOST_BOOKINGS if len(stays) > MOST_BOOKINGS else None
    return {"bookings": shown, "overlapping": _overlapping(shown), "only_first": more}


def _overlapping(rows: Iterable[Booking]) -> set[UUID]:
    """Bookings, of these in the order of arrival, that begin while others stay in the same house."""
    found: set[UUID] = set()
    before: list[Booking] = []
    for row in rows:
        if row.cancelled_at is not None:
            continue
        before = [other for other in before if other.leaves_at > row.arrives_at]
        if any(None in (row.spa_id, other.spa_id) or row.spa_id == other.spa_id for other in before):
            found.add(row.pk)
        before.append(row)
    return found


def _calendar(person: Person, pk: UUID) -> ChangeoverCalendar:
    rows = visible_calendars(person).select_related(*ABOVE, "spa")
    return get_object_or_404(rows, pk=pk)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
@cache_control(private=True, no_store=True)
def calendar_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A new calendar of the site ``pk``."""
    person = signed_in(request)
    site = _site(person, pk)
    form = CalendarForm(request.POST or None, site=site)
    if form.is_valid():
        new = done_or_told(form, lambda: use.add_calendar(site=site, by=person, **form.values()))
        if new:
            said = "It is being read now." if new.feed_url else "Next: upload its file."
            messages.success(request, f"{new.name} is added. {said}")
            return redirect("rounds:calendar", new.pk)
    return form_page(
        request,
        form,
        heading=f"New calendar of {site}",
        submit="Add the calendar",
        back=reverse("rounds:bookings", args=[site.pk]),
        steps=trail(site),
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
@cache_control(private=True, no_store=True)
def calendar_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _calendar(person, pk)
    form = CalendarForm(request.POST or None, site=row.site, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(form, lambda: use.change_calendar(calendar=row, by=person, **form.values()))
        if changed:
            messages.success(request, f"{changed.name} is saved.")
            return redirect("rounds:calendar", row.pk)
    return form_page(
        request,
        form,
        heading=f"Change {row.name}",
        submit="Save",
        back=reverse("rounds:calendar", args=[row.pk]),
        steps=trail(row.site),
    )


@page_for(Action.PLAN_VISITS)
@require_POST
def calendar_fetch(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Read the feed now, in the background."""
    person = signed_in(request)
    row = _calendar(person, pk)
    if not row.feed_url:
        messages.warning(request, "This calendar has no address to read: upload a file instead.")
        return redirect("rounds:calendar", row.pk)
    return redirect("runs:run", use.ask_fetch(calendar=row, by=person).pk)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def calendar_upload(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _calendar(person, pk)
    form = CalendarFileForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        data = form.cleaned_data["file"].read()
        taken = done_or_told(form, lambda: use.take_file(calendar=row, data=data, by=person))
        if taken:
            messages.success(
                request, f"{taken.added} stays added, {taken.changed} changed, {taken.cancelled} cancelled."
            )
            return redirect("rounds:calendar", row.pk)
    return form_page(
        request,
        form,
        heading=f"File of {row.name}",
        submit="Read it",
        back=reverse("rounds:calendar", args=[row.pk]),
        steps=trail(row.site),
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def calendar_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _calendar(person, pk)
    if request.method == "POST":
        use.archive_calendar(calendar=row, by=person)
        messages.success(request, f"{row.name} is archived.")
        return redirect("rounds:calendar", row.pk)
    context = {
        "question": f"Archive {row.name}?",
        "consequence": "It is read no more, and its bookings no longer count when a week is planned.",
        "confirm": "Archive",
        "cancel_url": reverse("rounds:calendar", args=[row.pk]),
    }
    return render(request, "shell/confirm.html", context)


@page_for(Action.PLAN_VISITS)
@require_POST
def calendar_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _calendar(person, pk)
    use.restore_calendar(calendar=row, by=person)
    messages.success(request, f"{row.name} is back in use.")
    return redirect("rounds:calendar", row.pk)


@page_for(Action.PLAN_VISITS)
@require_safe
def bookings(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The stays to come at the site ``pk``, and its calendars."""
    person = signed_in(request)
    site = _site(person, pk)
    context = {
        "site": site,
        "calendars": visible_calendars(person).filter(site=site, archived_at=None).defer("feed_url"),
        **_to_come(_that_count(visible_bookings(person).filter(site=site))),
        "trail": trail(site),
    }
    return render(request, "rounds/bookings.html", context)


def _that_count(rows: QuerySet[Booking]) -> QuerySet[Booking]:
    in_use = Q(calendar=None) | Q(calendar__archived_at=None)
    return rows.filter(in_use).select_related("spa", "calendar").defer("calendar__feed_url")


def _site(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).select_related("client", "organisation"), pk=pk)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def booking_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A booking by hand at the site ``pk``."""
    person = signed_in(request)
    site = _site(person, pk)
    zone, hours = zone_of(person.organisation), round_settings(person.organisation)
    form = BookingForm(request.POST or None, site=site, zone=zone, settings=hours)
    if form.is_valid() and _done(form, lambda: use.add_booking(site=site, by=person, **form.values())):
        messages.success(request, "The booking is added.")
        return redirect("rounds:bookings", site.pk)
    return _booking_form(request, form, site, heading=f"New booking at {site}", submit="Add the booking")


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def booking_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _booking(person, pk)
    zone, hours = zone_of(person.organisation), round_settings(person.organisation)
    form = BookingForm(
        request.POST or None, site=row.site, zone=zone, settings=hours, initial=booking_initial(row, zone)
    )
    if form.is_valid() and _done(form, lambda: use.change_booking(booking=row, by=person, **form.values())):
        messages.success(request, "The booking is saved.")
        return redirect("rounds:bookings", row.site_id)
    return _booking_form(request, form, row.site, heading=f"Booking at {row.site}", submit="Save")


def _booking(person: Person, pk: UUID) -> Booking:
    rows = visible_bookings(person).select_related(*ABOVE, "spa")
    return get_object_or_404(rows, pk=pk)


def _booking_form(
    request: HttpRequest, form: BookingForm, site: Site, *, heading: str, submit: str
) -> HttpResponse:
    return form_page(
        request,
        form,
        heading=heading,
        submit=submit,
        back=reverse("rounds:bookings", args=[site.pk]),
        steps=trail(site),
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def booking_cancel(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _booking(person, pk)
    form = forms.Form(request.POST if request.method == "POST" else None)
    if form.is_valid() and _done(form, lambda: use.cancel_booking(booking=row, by=person)):
        messages.success(request, "The booking is cancelled.")
        return redirect("rounds:bookings", row.site_id)
    context = {
        "question": f"Cancel the booking at {row.site}?",
        "consequence": "The guests do not come: their changeover is no longer owed.",
        "confirm": "Cancel the booking",
        "cancel_url": reverse("rounds:bookings", args=[row.site_id]),
        "form": form,
    }
    return render(request, "shell/confirm.html", context)


def _done(form: forms.Form, act: Callable[[], object]) -> bool:
    """Whether ``act`` was done; its reasons stand at the form's fields when it was not."""
    return bool(done_or_told(form, lambda: (act(), True)))


def _steps() -> list[Step]:
    return [Step("Calendars", reverse("rounds:calendars"))]
