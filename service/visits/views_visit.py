"""The visit's page, and how a visit begins and ends."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.visits.drafts import drop_draft
from service.visits.editing import AlreadySigned, Changed, Refused
from service.visits.forms_work import EndForm, HandOverForm, tell
from service.visits.models import Visit
from service.visits.open import end_without_signing, hand_over, start_visit
from service.visits.posted import keep, revision, typed_fields, write
from service.visits.visit_page import Typed, find_visit, visit_page, who_could_take_over


@page_for(Action.CARRY_OUT_VISITS)
@require_safe
@cache_control(private=True, no_store=True)
def visit(request: HttpRequest, pk: UUID) -> HttpResponse:
    return visit_page(request, find_visit(request, pk))


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_start(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = find_visit(request, pk)
    return write(
        request,
        row,
        key="start",
        section="look",
        form=None,
        act=lambda: start_visit(visit=row, by=signed_in(request)),
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_end(request: HttpRequest, pk: UUID) -> HttpResponse:
    """End without a signature; afterwards the day goes on with its next stop."""
    row = find_visit(request, pk)
    form = EndForm(request.POST, prefix="end", visit=row)
    if not form.is_valid():
        return visit_page(request, row, Typed(forms={"end": form}))
    try:
        ended = end_without_signing(
            visit=row,
            state=form.cleaned_data["state"],
            reason=form.cleaned_data["reason"],
            by=signed_in(request),
            expected_revision=revision(request),
        )
    except (Changed, Refused, ValidationError) as why:
        return _told(request, row, "end", form, why)
    messages.success(request, f"{row.spa} is ended: {ended.get_state_display().lower()}.")
    return redirect("visits:today")


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_hand_over(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = find_visit(request, pk), signed_in(request)
    form = HandOverForm(request.POST, prefix="hand", people=who_could_take_over(row))
    if not form.is_valid():
        return visit_page(request, row, Typed(forms={"hand": form}))
    to = form.cleaned_data["to"]
    try:
        hand_over(
            visit=row,
            to=to,
            reason=form.cleaned_data["reason"],
            by=person,
            expected_revision=revision(request),
        )
    except (Changed, Refused, ValidationError) as why:
        return _told(request, row, "hand", form, why)
    messages.success(request, f"{row.spa} is handed to {to}.")
    return redirect("visits:today")


def _told(
    request: HttpRequest, row: Visit, key: str, form: EndForm | HandOverForm, why: Exception
) -> HttpResponse:
    left = Typed(forms={key: form}, posted=typed_fields(request))
    if isinstance(why, Changed):
        left.changed = why
    elif isinstance(why, ValidationError):
        tell(form, why)
    else:
        left.refused = str(why)
    return visit_page(request, row, left)


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_draft(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Keep what is being typed, or drop it and show the page as saved."""
    row, section = find_visit(request, pk), request.POST.get("section", "")
    if "drop" in request.POST:
        drop_draft(visit=row, section=section, by=signed_in(request))
        return redirect(f"{reverse('visits:visit', args=[row.pk])}#{section}")
    try:
        keep(request, row, section)
    except (AlreadySigned, ValidationError) as why:
        words = why.messages if isinstance(why, ValidationError) else [str(why)]
        return HttpResponse(" ".join(words), status=422, content_type="text/plain")
    return HttpResponse(status=204)
