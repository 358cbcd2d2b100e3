"""A record's PDF: the file if it is there, else a page that has it made and shows how far it is."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from reports.downloads import ask_for_copy, copy_for, file_name, standing_of
from reports.editions import Copy
from reports.models import ReportFile
from service.visits.models import Record
from service.visits.visible import visible_records


@require_safe
@never_cache
@page_for(Action.DOWNLOAD_RECORDS)
def download(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The newest edition. Looking changes nothing: a file that is missing is asked for by ``make``."""
    person = signed_in(request)
    record = _record(person, pk)
    copy = copy_for(person, record)
    standing = standing_of(record, copy)
    is_fragment = bool(getattr(request, "htmx", False))
    if standing.file is not None and not is_fragment:
        return _handed_out(standing.file, record, copy)
    template = "reports/making.html" if is_fragment else "reports/not_made.html"
    return render(request, template, {"record": record, "standing": standing, "run": standing.run})


@require_safe
@never_cache
@page_for(Action.DOWNLOAD_RECORDS)
def edition(request: HttpRequest, pk: UUID, number: int) -> HttpResponse:
    """An earlier edition, as it was before later amendments; one that was never made does not exist."""
    person = signed_in(request)
    record = _record(person, pk)
    copy = copy_for(person, record, number)
    standing = standing_of(record, copy)
    if standing.file is None:
        raise Http404
    return _handed_out(standing.file, record, copy)


@require_POST
@page_for(Action.DOWNLOAD_RECORDS)
def make(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Ask for the missing PDF."""
    record = _record(signed_in(request), pk)
    ask_for_copy(record=record, by=signed_in(request))
    return redirect("reports:download", pk=record.pk)


def _record(person: Person, pk: UUID) -> Record:
    records = visible_records(person).select_related(
        "organisation", "visit__organisation", "visit__spa__site"
    )
    sealed = ("visit__spa__site__access_code", "visit__spa__site__access_notes")
    return get_object_or_404(records.defer("content", "canonical", *sealed), pk=pk)


def _handed_out(file: ReportFile, record: Record, copy: Copy) -> HttpResponse:
    """Always as a file to keep, never as a page of this site. A record is at most a few megabytes."""
    with file.file.open("rb") as kept:
        answer = HttpResponse(kept.read(), content_type="application/pdf")
    disposition = content_disposition_header(as_attachment=True, filename=file_name(record, copy))
    answer["Content-Disposition"] = disposition or "attachment"
    return answer
