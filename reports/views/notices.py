"""The notice of a closure, as a page to print and as a PDF."""

from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from reports.closure_notice import notice_of, notice_pdf
from service.sites.visible import visible_spas
from service.visits.models import Closure


@require_safe
@never_cache
@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
def notice(request: HttpRequest, pk: UUID) -> HttpResponse:
    closure = get_object_or_404(_closures(signed_in(request)), pk=pk)
    return render(request, "reports/notice.html", {"closure": closure, "notice": notice_of(closure)})


@require_safe
@never_cache
@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
def notice_file(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Only while the closure stands: nobody should put up a notice that has ended."""
    closure = get_object_or_404(_closures(signed_in(request)).filter(reopened_at=None), pk=pk)
    answer = HttpResponse(notice_pdf(closure).content, content_type="application/pdf")
    answer["Content-Disposition"] = 'attachment; filename="notice-of-closure.pdf"'
    return answer


def _closures(person: Person) -> QuerySet[Closure]:
    closures = Closure.objects.filter(spa__in=visible_spas(person))
    loaded = closures.select_related("organisation", "spa__site")
    return loaded.defer("spa__site__access_code", "spa__site__access_notes")
