"""The audit trail as a file, for the owner: what the page shows, narrowed by the same filters."""

import csv
import io
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.audit_sentences import Entry, entries, names_of_people
from accounts.forms import TrailForm
from accounts.models import AuditEvent, Person
from accounts.roles import Action
from accounts.views.trail import MOST_ENTRIES, narrowed
from service.importing.delimited import escaped

HEADS = ("When", "Who", "What was done", "To what", "Figures")


@page_for(Action.SEE_AUDIT_TRAIL)
@require_safe
def trail_file(request: HttpRequest) -> HttpResponse:
    """The newest entries that the filters leave, at most MOST_ENTRIES, as CSV (RFC 4180)."""
    owner = signed_in(request)
    people = list(Person.objects.filter(organisation=owner.organisation_id))
    form = TrailForm(request.GET or None, people=people)
    wanted = form.cleaned_data if form.is_bound and form.is_valid() else {}
    zone = ZoneInfo(owner.organisation.time_zone)
    events = narrowed(AuditEvent.objects.all(), wanted, zone)[:MOST_ENTRIES]
    content = _table(entries(list(events), names_of_people(people)), zone)
    answer = HttpResponse(content, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="audit-trail.csv"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _table(lines: Iterable[Entry], zone: ZoneInfo) -> str:
    """What a person wrote is never taken for a formula by a spreadsheet."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(HEADS)
    for line in lines:
        when = line.at.astimezone(zone).isoformat(sep=" ", timespec="seconds")
        writer.writerow([when, *(escaped(cell) for cell in (line.who, line.did, line.what, line.detail))])
    return text.getvalue()
