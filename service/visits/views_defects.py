"""Defects: the open ones as a list, one with the owner's answer and how it was settled."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.shell.days import DayField
from service.sites.forms import done_or_told
from service.sites.listing import ROWS_PER_PAGE
from service.visits.defects import grade_defect, record_consent, settle_defect, visible_defects
from service.visits.editing import Refused
from service.visits.models import Consent, Defect, Photo, Severity, WhoPays

ABOVE = ("spa__site__client", "found_by", "closed_by")
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


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def defects(request: HttpRequest) -> HttpResponse:
    """Open defects, those that close a spa first; ``?show=all`` adds the settled ones."""
    person, show_all = signed_in(request), request.GET.get("show") == "all"
    rows = visible_defects(person) if show_all else visible_defects(person).filter(closed_at=None)
    rows = rows.select_related(*ABOVE).defer(*SEALED).order_by("severity", "due_on", "-found_at", "pk")
    page = Paginator(rows, ROWS_PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "visits/defects.html", {"page": page, "all": show_all})


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
