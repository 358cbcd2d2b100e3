"""A rental manager's pages: my tubs, one tub, and the answer to a repair that waits for it."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from reports.tubs import closures_of, last_work, own_spas, records_of, tub_of, tubs_of
from service.visits.defects import answer_for_owner, visible_defects
from service.visits.editing import Refused
from service.visits.history import range_asked, water_history
from service.visits.models import Consent


@require_safe
@never_cache
@page_for(Action.SEE_OWN_CLIENTS)
def my_tubs(request: HttpRequest) -> HttpResponse:
    return render(request, "reports/my_tubs.html", {"tubs": tubs_of(signed_in(request), timezone.now())})


@require_safe
@never_cache
@page_for(Action.SEE_OWN_CLIENTS)
def my_tub(request: HttpRequest, pk: UUID) -> HttpResponse:
    person, now = signed_in(request), timezone.now()
    spa = get_object_or_404(own_spas(person), pk=pk)
    tub, records, closures = tub_of(person, spa, now), records_of(person, spa), closures_of(spa)
    asked = range_asked(request.GET.get("days", ""))
    context = {
        "spa": spa,
        "tub": tub,
        "records": records,
        "last": last_work(records[0], spa) if records else None,
        "water": water_history(spa, asked=asked, now=now, signed_only=True),
        "closure": next((closure for closure in closures if closure.reopened_at is None), None),
        "firm": spa.organisation,
    }
    return render(request, "reports/my_tub.html", context)


@require_POST
@page_for(Action.ANSWER_FOR_OWNER)
def answer(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The owner's yes or no to a repair."""
    person = signed_in(request)
    defect = get_object_or_404(visible_defects(person), pk=pk)
    try:
        said = answer_for_owner(defect=defect, consent=request.POST.get("consent", ""), by=person)
        word = "Yes" if said.consent == Consent.GIVEN else "No"
        messages.success(request, f"{word} recorded: {said.description}")
    except Refused as refused:
        messages.error(request, str(refused))
    except ValidationError as wrong:
        messages.error(request, " ".join(wrong.messages))
    return redirect("reports:my_tub", pk=defect.spa_id)
