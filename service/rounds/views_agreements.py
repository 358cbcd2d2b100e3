"""Pages of agreements: the list with what the next weeks owe, and making, changing and ending one."""

from copy import copy
from datetime import date
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.rounds.agree import add_agreement, add_skill, change_agreement, end_agreement
from service.rounds.forms_agreements import AgreementForm, EndForm, SkillForm
from service.rounds.forms_settings import SettingsForm
from service.rounds.models import Agreement, Frequency, Skill
from service.rounds.round_settings import change_round_settings, round_settings
from service.rounds.strip import strip_of
from service.rounds.visible import visible_agreements
from service.rounds.words import say_day, say_list, say_weekdays
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.listing import Column, Filters, found_by, listing, words_field
from service.sites.models import Spa
from service.sites.pages import Step, form_page, trail
from service.sites.visible import visible_spas

COLUMNS = (
    Column("spa", "Spa", ("spa__name", "spa__site__name")),
    Column("site", "Site", ("spa__site__name", "spa__name")),
    Column("often", "How often", ("frequency", "-times_a_week", "every_weeks")),
    Column("minutes", "Minutes", ("minutes_on_site", "spa__name"), figure=True),
    Column("from", "From", ("starts_on", "spa__name")),
)
FORCE = (("", "In force or to come"), ("ended", "Ended"), ("all", "All"))


class AgreementFilter(forms.Form):
    q = words_field()
    frequency = forms.ChoiceField(
        label="How often", choices=[("", "Any frequency"), *Frequency.choices], required=False
    )
    force = forms.ChoiceField(label="State", choices=FORCE, required=False)


FILTERS = Filters(
    form=AgreementFilter,
    words=("spa__name", "spa__reference", "spa__site__name", "spa__site__client__name"),
    equal={"frequency": "frequency"},
    archived=(),
)


@page_for(Action.SEE_FIRM)
@require_safe
def agreements(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    today = today_at(person.organisation)
    rows = visible_agreements(person).filter(_in_force(request.GET.get("force", ""), today))
    found = listing(rows.select_related("spa__site"), given=request.GET, filters=FILTERS, columns=COLUMNS)
    strip = strip_of(person.organisation, found.page, today)
    context = {
        "listing": found,
        "strip": strip,
        "lines": [(row, say_weekdays(row.weekdays), strip.cells.get(row.pk, [])) for row in found.page],
        "may_plan": person.may(Action.PLAN_VISITS),
        "today": today,
    }
    return render(request, "rounds/agreements.html", context)


def found_agreements(person: Person, given: QueryDict) -> QuerySet[Agreement]:
    """Every agreement, on all pages, that the address ``given`` leaves."""
    today = today_at(person.organisation)
    rows = visible_agreements(person).filter(_in_force(given.get("force", ""), today))
    return found_by(rows, given=given, filters=FILTERS)


def _in_force(force: str, today: date) -> Q:
    if force == "all":
        return Q()
    ended = Q(ends_on__lt=today)
    return ended if force == "ended" else ~ended | Q(ends_on=None)


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def agreement_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A new agreement for the spa ``pk``."""
    person = signed_in(request)
    spa = get_object_or_404(visible_spas(person).select_related("site__client"), pk=pk)
    starting = Agreement(organisation=person.organisation, spa=spa, starts_on=today_at(person.organisation))
    starting.times_a_week = 1
    form = AgreementForm(request.POST or None, by=person, instance=starting)
    if form.is_valid():
        new = done_or_told(form, lambda: _add(form, spa, person))
        if new:
            messages.success(request, f"{spa}: {new.how_often.lower()}, from {say_day(new.starts_on)}.")
            return redirect(_list_of(spa))
    return _form(request, form, spa, heading=f"New agreement for {spa}", submit="Make the agreement")


def _add(form: AgreementForm, spa: Spa, person: Person) -> Agreement:
    skills, not_with = form.cleaned_data["skills"], form.cleaned_data["not_with"]
    return add_agreement(spa=spa, by=person, skills=skills, not_with=not_with, **form.values())


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def agreement_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _agreement(person, pk)
    form = AgreementForm(request.POST or None, by=person, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(form, lambda: _change(form, row, person))
        if changed:
            messages.success(request, f"The agreement for {row.spa} is saved. Visits already planned stay.")
            return redirect(_list_of(row.spa))
    return _form(request, form, row.spa, heading=f"Agreement for {row.spa}", submit="Save", row=row)


def _change(form: AgreementForm, row: Agreement, person: Person) -> Agreement:
    skills, not_with = form.cleaned_data["skills"], form.cleaned_data["not_with"]
    return change_agreement(agreement=row, by=person, skills=skills, not_with=not_with, **form.values())


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def agreement_end(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = _agreement(person, pk)
    form = EndForm(request.POST or None, initial={"ends_on": row.ends_on or today_at(person.organisation)})
    if form.is_valid():
        last_day = form.cleaned_data["ends_on"]
        ended = done_or_told(form, lambda: end_agreement(agreement=row, last_day=last_day, by=person))
        if ended:
            messages.success(request, f"The agreement for {row.spa} ends after {say_day(last_day)}.")
            return redirect(_list_of(row.spa))
    return form_page(
        request,
        form,
        heading=f"End the agreement for {row.spa}?",
        lead=f"{row.how_often}. Visits already planned stay in the plan: cancel them there.",
        submit="End it",
        back=reverse("rounds:agreement_edit", args=[row.pk]),
        steps=_steps(),
    )


def _agreement(person: Person, pk: UUID) -> Agreement:
    rows = visible_agreements(person).select_related("organisation", "spa__site__client", "preferred")
    return get_object_or_404(rows, pk=pk)


def _form(
    request: HttpRequest,
    form: AgreementForm,
    spa: Spa,
    *,
    heading: str,
    submit: str,
    row: Agreement | None = None,
) -> HttpResponse:
    lead = f"At {spa.site.name}, for {spa.site.client.name}."
    if row is not None and row.ends_on:
        lead += f" Its last day is {say_day(row.ends_on)} {row.ends_on.year}."
    return form_page(
        request,
        form,
        heading=heading,
        lead=lead,
        submit=submit,
        back=_list_of(spa),
        steps=trail(spa),
        groups=AgreementForm.groups,
    )


def _steps() -> list[Step]:
    return [Step("Agreements", reverse("rounds:agreements"))]


def _list_of(spa: Spa) -> str:
    return reverse("rounds:agreements", query={"q": spa.name})


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    row = round_settings(person.organisation)
    form = SettingsForm(request.POST or None, instance=copy(row))
    if form.is_valid():
        saved = done_or_told(form, lambda: change_round_settings(by=person, **form.values()))
        if saved:
            messages.success(request, "The settings are saved. The next week that is planned follows them.")
            return redirect("rounds:settings")
    return form_page(
        request,
        form,
        heading="Settings of the rounds",
        lead="What a week is planned by. The prices weigh one thing against another: put in your own.",
        submit="Save",
        back=reverse("rounds:agreements"),
        steps=_steps(),
        groups=SettingsForm.groups,
    )


@page_for(Action.PLAN_VISITS)
@require_http_methods(["GET", "POST"])
def skills(request: HttpRequest) -> HttpResponse:
    """Every skill of the firm, and a new one."""
    person = signed_in(request)
    form = SkillForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_skill(name=form.cleaned_data["name"], by=person))
        if new:
            messages.success(request, f"{new.name} is added. Tick it at the technicians who have it.")
            return redirect("rounds:skills")
    lead = "What not everybody can or may do. Agreements ask for it by name."
    known = say_list([skill.name for skill in Skill.objects.filter(organisation=person.organisation_id)])
    return form_page(
        request,
        form,
        heading="Skills",
        lead=f"Known: {known}." if known else lead,
        submit="Add the skill",
        back=reverse("rounds:roster"),
        steps=[Step("Roster", reverse("rounds:roster"))],
    )
