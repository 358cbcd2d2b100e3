"""A round on paper, for the office and for whoever drives it."""

from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from reports.round_sheet import round_sheet_pdf
from service.rounds.models import PlannedRound, PlanState


@require_safe
@never_cache
@page_for(Action.PLAN_VISITS, Action.CARRY_OUT_VISITS)
def sheet(request: HttpRequest, pk: UUID) -> HttpResponse:
    item = get_object_or_404(_rounds(signed_in(request)), pk=pk)
    answer = HttpResponse(round_sheet_pdf(item).content, content_type="application/pdf")
    name = f"round-{slugify(item.technician.name)}-{item.day.isoformat()}.pdf"
    disposition = content_disposition_header(as_attachment=True, filename=name)
    answer["Content-Disposition"] = disposition or "attachment"
    return answer


def _rounds(person: Person) -> QuerySet[PlannedRound]:
    """The office sees every round; who drives sees their own, once it is published."""
    rounds = PlannedRound.objects.filter(organisation=person.organisation_id)
    rounds = rounds.select_related("plan__organisation", "technician")
    if person.may(Action.PLAN_VISITS):
        return rounds
    return rounds.filter(technician=person, plan__state=PlanState.PUBLISHED)
