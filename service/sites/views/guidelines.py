"""Choosing the guideline set that judges a client's, a site's or a spa's water."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.guidelines import Guideline, available
from service.sites.forms import done_or_told
from service.sites.guideline import choose_firm_guideline, choose_guideline, in_force, inherited
from service.sites.models import Client, Sanitiser, Site, Spa
from service.sites.pages import Place, trail, url_of
from service.sites.visible import visible_clients, visible_sites, visible_spas

JOIN = "+"
PAIRED_WHERE = "Only where one set alone gives no figure for the sanitiser. The stricter limit rules."


@dataclass(frozen=True)
class Option:
    """One set as offered: the radio button and what a person needs to choose."""

    radio: Any
    guideline: Guideline
    without_figure: list[str]


class FirmGuidelineForm(forms.Form):
    """The set that judges a spa where nothing nearer chooses one."""

    guideline_id = forms.ChoiceField(
        label="Guideline",
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose a guideline.",
            "invalid_choice": "Choose the guideline from the list.",
        },
    )
    paired_with = forms.ChoiceField(label="Used together with", required=False, help_text=PAIRED_WHERE)

    def __init__(self, *args: Any, chosen: str, **kwargs: Any) -> None:
        first, _, second = chosen.partition(JOIN)
        kwargs["initial"] = {"guideline_id": first, "paired_with": second}
        super().__init__(*args, **kwargs)
        sets = available(portable=True)
        one, two = self.fields["guideline_id"], self.fields["paired_with"]
        assert isinstance(one, forms.ChoiceField)
        assert isinstance(two, forms.ChoiceField)
        one.choices = [(item.id, item.title) for item in sets]
        two.choices = [("", "No other set"), *((item.id, item.title) for item in sets if item.pairs)]


class GuidelineForm(forms.Form):
    guideline_id = forms.ChoiceField(label="Guideline", required=False, widget=forms.RadioSelect)
    paired_with = forms.ChoiceField(
        label="Used together with",
        required=False,
        help_text=PAIRED_WHERE,
    )

    def __init__(self, *args: Any, place: Place, **kwargs: Any) -> None:
        first, _, second = place.guideline_id.partition(JOIN)
        kwargs["initial"] = {"guideline_id": first, "paired_with": second}
        super().__init__(*args, **kwargs)
        sets = available(portable=True)
        one, two = self.fields["guideline_id"], self.fields["paired_with"]
        assert isinstance(one, forms.ChoiceField)
        assert isinstance(two, forms.ChoiceField)
        one.choices = [("", _as_above(place)), *((item.id, item.title) for item in sets)]
        two.choices = [("", "No other set"), *((item.id, item.title) for item in sets if item.pairs)]

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("paired_with") and not given.get("guideline_id"):
            self.add_error("paired_with", "Choose the first set as well: two are used together.")
        return given

    def chosen(self) -> str:
        """The id to store: a set, a pair, or "" to follow what is above."""
        names = (self.cleaned_data["guideline_id"], self.cleaned_data["paired_with"])
        return JOIN.join(name for name in names if name)

    def options(self) -> list[Option]:
        """Each set beside its radio button; the first button, "as above", is drawn by itself."""
        radios = list(self["guideline_id"])[1:]
        return [
            Option(radio, item, _without_figure(item))
            for radio, item in zip(radios, available(portable=True), strict=True)
        ]


def _as_above(place: Place) -> str:
    above = inherited(place)
    title = above.guideline.title if above.guideline else above.guideline_id
    return f"{title}, {above.chosen_words}"


def _without_figure(guideline: Guideline) -> list[str]:
    dosed = (Sanitiser.CHLORINE, Sanitiser.BROMINE)
    return [item.label.lower() for item in dosed if not guideline.limits_sanitiser(item)]


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def client_guideline(request: HttpRequest, pk: UUID) -> HttpResponse:
    return _guideline_page(request, _find_client, pk)


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def site_guideline(request: HttpRequest, pk: UUID) -> HttpResponse:
    return _guideline_page(request, _find_site, pk)


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_guideline(request: HttpRequest, pk: UUID) -> HttpResponse:
    return _guideline_page(request, _find_spa, pk)


@page_for(Action.EDIT_FIRM)
@require_http_methods(["GET", "POST"])
def firm_guideline(request: HttpRequest) -> HttpResponse:
    """The firm's own choice, which every spa follows unless something nearer chooses another set."""
    owner = signed_in(request)
    form = FirmGuidelineForm(request.POST or None, chosen=owner.organisation.guideline_id)
    if form.is_valid():
        chosen = JOIN.join(filter(None, form.cleaned_data.values()))
        if done_or_told(form, lambda: choose_firm_guideline(guideline_id=chosen, by=owner)):
            messages.success(request, "The firm's guideline is saved.")
            return redirect("accounts:firm")
    context = {
        "form": form,
        "heading": "The firm's guideline",
        "lead": "It judges every spa for which neither the spa, its site nor its client chooses another.",
        "submit": "Save",
        "cancel_url": reverse("accounts:firm"),
    }
    return render(request, "accounts/form.html", context)


def _find_client(person: Person, pk: UUID) -> Client:
    return get_object_or_404(visible_clients(person).select_related("organisation"), pk=pk)


def _find_site(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).select_related("client__organisation"), pk=pk)


def _find_spa(person: Person, pk: UUID) -> Spa:
    return get_object_or_404(visible_spas(person).select_related("site__client__organisation"), pk=pk)


def _guideline_page(request: HttpRequest, find: Callable[[Person, UUID], Place], pk: UUID) -> HttpResponse:
    person = signed_in(request)
    place = find(person, pk)
    form = GuidelineForm(request.POST or None, place=place)
    if form.is_valid():
        chosen = done_or_told(
            form, lambda: choose_guideline(place=place, guideline_id=form.chosen(), by=person)
        )
        if chosen:
            messages.success(request, f"The guideline of {place} is saved.")
            return redirect(url_of(place))
    context = {
        "place": place,
        "trail": trail(place),
        "form": form,
        "cancel_url": url_of(place),
        "guideline": in_force(place),
    }
    return render(request, "sites/guideline.html", context)
