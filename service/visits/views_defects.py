"""Defects: a list with words, filters and order; one with the owner's answer and how it was settled."""

from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Case, Q, When
from django.db.models.functions import Coalesce
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.shell.days import DayField
from service.sites.forms import done_or_told
from service.sites.listing import Column, Filters, known_sort, listing, words_field
from service.visits.defects import grade_defect, record_consent, settle_defect, visible_defects
from service.visits.editing import Refused
from service.visits.models import Consent, Defect, Photo, Severity, WhoPays

ABOVE = ("spa__site__client", "found_by", "closed_by")
# The worst first, whatever the words are; no day set after every day.
_BADNESS = Case(*(When(severity=one, then=rank) for rank, one in enumerate(Severity.values)))
_DUE = Coalesce("due_on", date.max)
SEALED = ("spa__site__access_code", "spa__site__access_notes")


class ConsentForm(forms.Form):
    consent = forms.ChoiceField(label="Owner's answer", choices=Consent.choices)
    who_pays = forms.ChoiceField(label="Who pays", choices=WhoPays.choices)


class GradeForm(forms.Form):
    severity = forms.ChoiceField(label="How bad", choices=Severity.choices)
    due_on = DayField(name="Mend by", first_year=2000, required=False, help_text="Empty where no day is set.")


class SettleForm(forms.Form):
    note = forms.CharField(
        label="How it was settled",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say how it was settled."},
        help_text="At most 400 characters.",
    )


class DefectFilter(forms.Form):
    q = words_field()
    severity = forms.ChoiceField(label="How bad", choices=[("", "Any"), *Severity.choices], required=False)
    consent = forms.ChoiceField(
        label="Owner's answer", choices=[("", "Any"), *Consent.choices], required=False
    )
    show = forms.ChoiceField(
        label="State", choices=(("", "Open"), ("settled", "Settled"), ("all", "All")), required=False
    )


FILTERS = Filters(
    form=DefectFilter,
    words=("description", "closing_note", "spa__name", "spa__reference", "spa__site__name"),
    equal={"severity": "severity", "consent": "consent"},
    archived=(),
)
COLUMNS = (
    Column("what", "What is wrong", ("description",)),
    Column("spa", "Spa", ("spa__name", "spa__site__name")),
    Column("bad", "How bad", ("badness", "due", "-found_at")),
    Column("answer", "Owner's answer", ("consent", "badness")),
    Column("due", "Mend by", ("due", "badness")),
    Column("found", "Found", ("found_at",)),
)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def defects(request: HttpRequest) -> HttpResponse:
    """Open defects, those that close a spa first; ``?show=all`` adds the settled ones."""
    person, given = signed_in(request), request.GET.copy()
    show = given.get("show", "")
    given["sort"] = known_sort(given.get("sort", ""), COLUMNS, "bad")
    rows = visible_defects(person).filter(_in_state(show)).annotate(badness=_BADNESS, due=_DUE)
    rows = rows.select_related(*ABOVE).defer(*SEALED)
    found = listing(rows, given=given, filters=FILTERS, columns=COLUMNS)
    return render(request, "visits/defects.html", {"listing": found, "show": show})


def _in_state(show: str) -> Q:
    return {"all": Q(), "settled": Q(closed_at__isnull=False)}.get(show, Q(closed_at=None))


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_http_methods(["GET", "POST"])
def defect(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    rows = visible_defects(person).select_related(*ABOVE).defer(*SEALED)
    row = get_object_or_404(rows, pk=pk)
    act = request.POST.get("act") if request.method == "POST" else None
    if request.method == "POST" and not person.may(Action.SETTLE_DEFECTS):
        raise Http404
    consent = ConsentForm(
        request.POST if act == "consent" else None,
        initial={"consent": row.consent, "who_pays": row.who_pays},
        prefix="consent",
    )
    settle = SettleForm(request.POST if act == "settle" else None, prefix="settle")
    grade = GradeForm(
        request.POST if act == "grade" else None,
        initial={"severity": row.severity, "due_on": row.due_on},
        prefix="grade",
    )
    forms_of: dict[str, tuple[forms.Form, Any, str]] = {
        "consent": (consent, record_consent, "The owner's answer is saved."),
        "grade": (grade, grade_defect, "Saved."),
        "settle": (settle, settle_defect, "The defect is settled."),
    }
    if act in forms_of and _saved(request, row, *forms_of[act]):
        return redirect("visits:defect", row.pk)
    context: dict[str, Any] = {
        "defect": row,
        "consent": consent,
        "settle": settle,
        "grade": grade,
        "photos": _photos(row),
        "may_settle": person.may(Action.SETTLE_DEFECTS) and row.closed_at is None,
        "see_names": person.may(Action.SEE_STAFF_NAMES),
    }
    return render(request, "visits/defect.html", context)


def _photos(row: Defect) -> Iterable[Photo]:
    """Photos taken at the line of the inspection that opened the defect."""
    if row.visit_id is None or not row.item:
        return ()
    return Photo.objects.filter(visit=row.visit_id, about=row.item)


def _saved(request: HttpRequest, row: Defect, form: forms.Form, use_case: Any, said: str) -> bool:
    """Whether the form that was posted is done; its reasons stand at its fields otherwise."""
    by = signed_in(request)
    if not form.is_valid():
        return False
    try:
        done = done_or_told(form, lambda: use_case(defect=row, by=by, **form.cleaned_data))
    except Refused as refused:
        form.add_error(None, str(refused))
        return False
    if done:
        messages.success(request, said)
    return done is not None
