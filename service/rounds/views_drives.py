"""The page of driving times: what they come from, what was learned, drives entered by hand."""

from decimal import Decimal
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.forms_drives import DriveForm
from service.rounds.hand_drives import ends_in_words, enter_drive, remove_drive
from service.rounds.learned_factor import LOOK_BACK_DAYS, drop_factor, learned_of, use_learned_factor
from service.rounds.models import HandDrive
from service.rounds.roads.learned import FEWEST_DRIVES
from service.rounds.roads.times import RoadsError
from service.rounds.round_settings import round_settings
from service.rounds.travel import travel_times_for
from service.sites.forms import done_or_told
from service.sites.pages import Step, form_page
from service.visits.editing import Refused

NO_FACTOR = Decimal(1)


@page_for(Action.PLAN_VISITS)
@require_safe
def driving_times(request: HttpRequest) -> HttpResponse:
    """Where driving times come from, what the firm's own drives say of them, and those by hand."""
    person = signed_in(request)
    factor = round_settings(person.organisation).road_factor
    context = {
        "factor": factor,
        "has_factor": factor != NO_FACTOR,
        "days": LOOK_BACK_DAYS,
        "drives": [(row, ends_in_words(row)) for row in _drives(person)],
        "trail": _steps()[:1],
    }
    try:
        context["honesty"] = travel_times_for(person.organisation).honesty
        learned = learned_of(person.organisation)
    except RoadsError as problem:
        return render(request, "rounds/driving_times.html", context | {"problem": str(problem)})
    is_enough = learned.drives >= FEWEST_DRIVES
    context |= {
        "learned": learned,
        "would_be": round(Decimal(learned.factor), 2),
        "error_now": _percent(learned.typical_error(float(factor))) if is_enough else None,
        "error_then": _percent(learned.typical_error(learned.factor)),
    }
    return render(request, "rounds/driving_times.html", context)


def _percent(share: float | None) -> int | None:
    return None if share is None else round(100 * share)


def _drives(person: Person) -> list[HandDrive]:
    rows = HandDrive.objects.filter(organisation=person.organisation_id)
    return list(rows.select_related("site", "other_site", "other_base", "entered_by"))


@page_for(Action.PLAN_VISITS)
@require_POST
def factor(request: HttpRequest) -> HttpResponse:
    """Plan with the learned factor (use=learned), or with none (use=none)."""
    person = signed_in(request)
    if request.POST.get("use") == "none":
        drop_factor(by=person)
        messages.success(request, "The next week is planned with the driving times as they are.")
        return redirect("rounds:driving_times")
    try:
        used = use_learned_factor(by=person)
    except (Refused, RoadsError) as why:
        messages.error(request, str(why))
    else:
        messages.success(request, f"The next week is planned with driving times × {used:.2f}.")
    return redirect("rounds:driving_times")


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def drive_new(request: HttpRequest) -> HttpResponse:
    """A drive by hand; of a pair that is known already, its new values."""
    person = signed_in(request)
    form = DriveForm(request.POST or None, by=person)
    drive = done_or_told(form, lambda: enter_drive(by=person, **form.values())) if form.is_valid() else None
    if drive is not None:
        messages.success(request, "The drive is kept. Weeks planned from now on use it, and say so.")
        return redirect("rounds:driving_times")
    return form_page(
        request,
        form,
        heading="A drive you know better",
        lead="It counts in both directions, and is not multiplied with the factor.",
        submit="Keep the drive",
        back=reverse("rounds:driving_times"),
        steps=_steps(),
    )


@page_for(Action.PLAN_VISITS)
@require_POST
def drive_remove(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    drive = get_object_or_404(HandDrive.objects.filter(organisation=person.organisation_id), pk=pk)
    remove_drive(drive=drive, by=person)
    messages.success(request, "The drive is taken back: the map says it again.")
    return redirect("rounds:driving_times")


def _steps() -> list[Step]:
    return [
        Step("Settings of the rounds", reverse("rounds:settings")),
        Step("Driving times", reverse("rounds:driving_times")),
    ]
