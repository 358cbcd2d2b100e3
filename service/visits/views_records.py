"""Records: found among the visits that ended, read as a page, corrected by an amendment."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.shell.days import DayField
from service.sites.forms import done_or_told
from service.sites.listing import ROWS_PER_PAGE, containing
from service.visits.amend import amend_record
from service.visits.forms_plan import who_carries_out_visits
from service.visits.models import ENDED_WITHOUT_SIGNING, Amendment, Record, Verdict, Visit, VisitState
from service.visits.record_page import amendments_of, record_context
from service.visits.visible import visible_records, visible_visits

ENDED = (VisitState.SIGNED, *ENDED_WITHOUT_SIGNING)
SEALED = ("spa__site__access_code", "spa__site__access_notes")
WORDS = ("spa__name", "spa__reference", "spa__site__name", "spa__site__client__name")
# How the firm divides its work among its people is not the client's to read.
OF_THE_FIRM_ONLY = (VisitState.HANDED_OVER, VisitState.CANCELLED)


class RecordFilter(forms.Form):
    q = forms.CharField(label="Words", max_length=100, required=False)
    start = DayField(name="From", first_year=2000, required=False)
    end = DayField(name="To", first_year=2000, required=False)
    technician = forms.ModelChoiceField(
        label="Technician", queryset=Person.objects.none(), required=False, empty_label="Everybody"
    )
    ended = forms.ChoiceField(
        label="How it ended",
        choices=[
            ("", "Any way"),
            ("signed", "Signed"),
            *((key, label) for key, label in Verdict.choices),
            ("unsigned", "Without a signature"),
            ("amended", "Amended"),
        ],
        required=False,
    )
    spa = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["technician"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = who_carries_out_visits(person)
        if not person.may(Action.SEE_STAFF_NAMES):
            del self.fields["technician"]


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def records(request: HttpRequest) -> HttpResponse:
    """Visits that ended, newest first, narrowed by the words and filters in the address."""
    person = signed_in(request)
    form = RecordFilter(request.GET, person=person)
    form.is_valid()
    asked = {name: value for name, value in form.cleaned_data.items() if value}
    rows = ended_visits(person, asked)
    rows = rows.select_related("spa__site__client", "technician", "record").defer(
        *SEALED, "record__content", "record__canonical"
    )
    rows = rows.annotate(corrections=Count("record__amendments")).order_by("-planned_on", "-ended_at", "pk")
    context = {
        "form": form,
        "filtered": bool(asked),
        "page": Paginator(rows, ROWS_PER_PAGE).get_page(request.GET.get("page")),
        "see_names": person.may(Action.SEE_STAFF_NAMES),
        "see_firm": person.may(Action.SEE_FIRM),
    }
    return render(request, "visits/records.html", context)


def ended_visits(person: Person, asked: dict[str, Any]) -> QuerySet[Visit]:
    """Visits that ended and that ``person`` may see, narrowed by what the form read."""
    rows = visible_visits(person).filter(state__in=ENDED)
    if not person.may(Action.SEE_FIRM):
        rows = rows.exclude(state__in=OF_THE_FIRM_ONLY)
    rows = rows.filter(containing(asked.get("q", ""), WORDS), _how(asked.get("ended", "")))
    equal: dict[str, Any] = {name: asked[name] for name in ("technician", "spa") if name in asked}
    if "start" in asked:
        equal["planned_on__gte"] = asked["start"]
    if "end" in asked:
        equal["planned_on__lte"] = asked["end"]
    return rows.filter(**equal)


def _how(ended: str) -> Q:
    if ended in Verdict.values:
        return Q(state=VisitState.SIGNED, verdict=ended)
    # Counted by the record, so that joining its amendments does not double a row.
    amended = Q(record__in=Record.objects.filter(amendments__isnull=False)) if ended == "amended" else Q()
    return {
        "signed": Q(state=VisitState.SIGNED),
        "unsigned": ~Q(state=VisitState.SIGNED),
        "amended": amended,
    }.get(ended, Q())


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
