"""Records: found among the visits that ended, read as a page, corrected by an amendment."""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.sites.forms import done_or_told
from service.sites.listing import MOST_LISTED
from service.visits.amend import amend_record
from service.visits.find_records import listed_records
from service.visits.models import Amendment, Record
from service.visits.record_page import amendments_of, record_context
from service.visits.visible import visible_records


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def records(request: HttpRequest) -> HttpResponse:
    """Visits that ended, newest first, narrowed and sorted by the address."""
    person = signed_in(request)
    context = {
        "listing": listed_records(person, request.GET),
        "most": MOST_LISTED,
        "see_names": person.may(Action.SEE_STAFF_NAMES),
        "see_firm": person.may(Action.SEE_FIRM),
    }
    return render(request, "visits/records.html", context)


def _record(request: HttpRequest, pk: UUID) -> Record:
    rows = visible_records(signed_in(request)).select_related("visit__spa")
    return get_object_or_404(
        rows.prefetch_related("personal_data", "visit__readings", "visit__photos"), pk=pk
    )


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def record(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = _record(request, pk), signed_in(request)
    names = person.may(Action.SEE_STAFF_NAMES)
    context = {
        "record": row,
        "visit": row.visit,
        "photos": row.visit.photos.all(),
        "amendments": amendments_of(row),
        "see_names": names,
        "may_amend": person.may(Action.AMEND_RECORDS),
        "may_download": person.may(Action.DOWNLOAD_RECORDS),
        **record_context(row, names=names),
    }
    return render(request, "visits/record.html", context)


class AmendForm(forms.Form):
    corrects = forms.CharField(
        label="What is corrected", help_text="Such as: pH before dosing. At most 200 characters."
    )
    was = forms.CharField(label="It said", help_text="At most 400 characters.")
    becomes = forms.CharField(label="It should say", help_text="At most 400 characters.")
    reason = forms.CharField(
        label="Why", widget=forms.Textarea(attrs={"rows": 3}), help_text="At most 400 characters."
    )


@page_for(Action.AMEND_RECORDS)
@require_http_methods(["GET", "POST"])
def amend(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = _record(request, pk), signed_in(request)
    form = AmendForm(request.POST or None)
    if form.is_valid() and _amended(form, row, person):
        messages.success(request, "The correction stands beside the record. A new PDF is being made.")
        return redirect("visits:record", row.pk)
    return render(request, "visits/amend.html", {"form": form, "record": row, "visit": row.visit})


def _amended(form: AmendForm, record: Record, by: Person) -> Amendment | None:
    return done_or_told(form, lambda: amend_record(record=record, by=by, **form.cleaned_data))
