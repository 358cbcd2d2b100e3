"""What the pages of a client, a site and a spa share: the way up, a form's page, an archive question."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from accounts.access import signed_in
from service.sites.archive import archive, restore, why_not_in_use
from service.sites.forms import Groups, grouped
from service.sites.models import Client, Site, Spa

Place = Client | Site | Spa


@dataclass(frozen=True)
class Step:
    """One step of the way from the list down to a page."""

    name: str
    url: str


def url_of(place: Place, page: str = "") -> str:
    """The address of a place's own page, or of one of its pages: ``url_of(spa, "edit")``."""
    name = place._meta.model_name
    return reverse(f"sites:{name}_{page}" if page else f"sites:{name}", args=[place.pk])


def trail(place: Place) -> list[Step]:
    """The steps down to and including ``place``. Needs the rows above loaded."""
    if isinstance(place, Spa):
        return [*trail(place.site), Step(place.name, url_of(place))]
    if isinstance(place, Site):
        return [*trail(place.client), Step(place.name, url_of(place))]
    return [Step("Clients", reverse("sites:clients")), Step(place.name, url_of(place))]


def form_page(
    request: HttpRequest,
    form: forms.BaseForm,
    *,
    heading: str,
    submit: str,
    back: str,
    steps: list[Step],
    groups: Groups = (),
    lead: str = "",
) -> HttpResponse:
    """A page that is one form, its fields under headings; 200 also when the form has errors."""
    context: dict[str, Any] = {
        "form": form,
        "groups": grouped(form, groups or (("", tuple(form.fields)),)),
        "heading": heading,
        "lead": lead,
        "submit": submit,
        "cancel_url": back,
        "trail": steps,
    }
    return render(request, "sites/form_page.html", context)


def archive_page(request: HttpRequest, place: Place, consequence: str) -> HttpResponse:
    """Ask before taking ``place`` out of use, and do it."""
    if request.method == "POST":
        archive(place=place, by=signed_in(request))
        messages.success(request, f"{place} is archived.")
        return redirect(url_of(place))
    context = {
        "question": f"Archive {place}?",
        "consequence": consequence,
        "confirm": "Archive",
        "cancel_url": url_of(place),
    }
    return render(request, "shell/confirm.html", context)


def restore_and_return(request: HttpRequest, place: Place) -> HttpResponse:
    """Bring ``place`` back into use; say when something above still keeps it out."""
    restore(place=place, by=signed_in(request))
    place.refresh_from_db(fields=["archived_at"])
    if reason := why_not_in_use(place):
        messages.warning(request, f"{place} is back, but takes no visits yet. {reason}")
    else:
        messages.success(request, f"{place} is back in use.")
    return redirect(url_of(place))
