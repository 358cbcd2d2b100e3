"""Pages of the roster: who works when, from where, and who is off."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.forms_roster import (
    DayOffForm,
    ShiftForm,
    TechnicianForm,
    days_of_their_own,
    shift_initial,
    technician_initial,
)
from service.rounds.keep_roster import add_day_off, remove_day_off, set_base, set_shifts
from service.rounds.models import DayOff, Shift, TechnicianBase, Weekday
from service.rounds.roster import start_of
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.pages import Step, form_page
from service.visits.forms_plan import who_carries_out_visits

MOST_DAYS_OFF = 200


@page_for(Action.PLAN_VISITS)
@require_safe
def roster(request: HttpRequest) -> HttpResponse:
    """Everybody who carries out visits with their usual week, and days off from today on."""
    person = signed_in(request)
    shifts: dict[UUID, list[Shift]] = {}
    for shift in Shift.objects.filter(organisation=person.organisation_id).order_by("weekday"):
        shifts.setdefault(shift.technician_id, []).append(shift)
    found = TechnicianBase.objects.filter(organisation=person.organisation_id).prefetch_related("skills")
    bases = {base.technician_id: base for base in found}
    context = {
        "lines": [
            (one, _days(shifts.get(one.pk, [])), base, start_of(base) is None)
            for one in who_carries_out_visits(person)
            for base in (bases.get(one.pk),)
        ],
        "days_off": _days_off(person),
    }
    return render(request, "rounds/roster.html", context)


def _days(shifts: list[Shift]) -> list[tuple[Shift, bool]]:
    """Each with whether it has a break of its own."""
    own = days_of_their_own(shifts)
    return [(shift, shift.weekday in own) for shift in shifts]


def _days_off(person: Person) -> QuerySet[DayOff]:
    rows = DayOff.objects.filter(
        organisation=person.organisation_id, last_day__gte=today_at(person.organisation)
    )
    return rows.select_related("technician").order_by("first_day", "pk")[:MOST_DAYS_OFF]


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def shifts(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The usual week of the technician ``pk``, where their days begin, what they carry and can do."""
    person = signed_in(request)
    technician = get_object_or_404(who_carries_out_visits(person), pk=pk)
    stored = list(Shift.objects.filter(technician=technician).order_by("weekday"))
    base = TechnicianBase.objects.filter(technician=technician).first()
    form = TechnicianForm(
        request.POST or None,
        by=person,
        own_days=days_of_their_own(stored),
        initial=technician_initial(base, stored),
    )
    if form.is_valid():
        saved = done_or_told(form, lambda: _save(form, technician, person))
        if saved:
            messages.success(request, f"The week of {technician.name} is saved.")
            return redirect("rounds:roster")
    return form_page(
        request,
        form,
        heading=f"Usual week of {technician.name}",
        lead="Leave both times of a day empty when it is free. A day with a break of its own is changed "
        "on its page, from the roster.",
        submit="Save",
        back=reverse("rounds:roster"),
        steps=_steps(),
        groups=form.groups,
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def shift_day(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One day of somebody's usual week, the shift ``pk``: its hours, and a break of its own."""
    person = signed_in(request)
    rows = Shift.objects.filter(organisation=person.organisation_id).select_related("technician")
    shift = get_object_or_404(rows, pk=pk)
    technician, weekday = shift.technician, shift.weekday
    form = ShiftForm(request.POST or None, initial=shift_initial(shift))
    if form.is_valid() and done_or_told(form, lambda: _save_day(form, shift, person)):
        messages.success(request, f"The {shift.get_weekday_display()} of {technician.name} is saved.")
        return redirect("rounds:roster")
    return form_page(
        request,
        form,
        heading=f"{Weekday(weekday).label} of {technician.name}",
        lead="Every such day from the next week that is planned on.",
        submit="Save",
        back=reverse("rounds:roster"),
        steps=_steps(),
    )


def _save_day(form: ShiftForm, shift: Shift, by: Person) -> bool:
    try:
        set_shifts(technician=shift.technician, by=by, shifts={shift.weekday: form.values()})
    except ValidationError as refused:
        told = {place.partition("-")[2]: texts for place, texts in refused.message_dict.items()}
        raise ValidationError(told) from refused
    return True


@transaction.atomic
def _save(form: TechnicianForm, technician: Person, by: Person) -> TechnicianBase:
    try:
        set_shifts(technician=technician, by=by, shifts=form.shifts())
    except ValidationError as refused:
        raise ValidationError(_at_fields(form, refused)) from refused
    return set_base(technician=technician, by=by, skills=form.cleaned_data["skills"], **form.base())


def _at_fields(form: TechnicianForm, refused: ValidationError) -> dict[str, list[str]]:
    """Messages of a weekday's field put where it stands on the page: "0-closes" at ``closes_0``."""
    told: dict[str, list[str]] = {}
    for place, texts in refused.message_dict.items():
        weekday, _, name = place.partition("-")
        field = name if name in form.fields else f"{name}_{weekday}"
        told[field] = list(dict.fromkeys([*told.get(field, []), *texts]))
    return told


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def day_off_new(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = DayOffForm(request.POST or None, by=person)
    if form.is_valid():
        added = done_or_told(form, lambda: add_day_off(by=person, **form.cleaned_data))
        if added:
            messages.success(request, "The days off are kept. Weeks planned from now on count them.")
            return redirect("rounds:roster")
    return form_page(
        request,
        form,
        heading="Days off",
        submit="Keep them",
        back=reverse("rounds:roster"),
        steps=_steps(),
    )


@page_for(Action.PLAN_VISITS)
@require_POST
def day_off_remove(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = get_object_or_404(DayOff.objects.filter(organisation=person.organisation_id), pk=pk)
    remove_day_off(day_off=row, by=person)
    messages.success(request, "The days off are taken back.")
    return redirect("rounds:roster")


def _steps() -> list[Step]:
    return [Step("Roster", reverse("rounds:roster"))]
