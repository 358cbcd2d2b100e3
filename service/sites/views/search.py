"""One search over clients, sites and spas, within what the person may see."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.sites.listing import containing, words_field
from service.sites.views.clients import FILTERS as CLIENT_FILTERS
from service.sites.views.sites import FILTERS as SITE_FILTERS
from service.sites.views.spas import FILTERS as SPA_FILTERS
from service.sites.visible import visible_clients, visible_sites, visible_spas

MOST_PER_KIND = 20


class SearchForm(forms.Form):
    q = words_field()


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Archived rows are found too and say so: somebody may ask for an old record."""
    form = SearchForm(request.GET)
    words = form.cleaned_data["q"] if form.is_valid() else ""
    context = {"form": form, "words": words, "found": _found(request, words) if words else {}}
    return render(request, "sites/search.html", context)


def _found(request: HttpRequest, words: str) -> dict[str, object]:
    person = signed_in(request)
    clients = visible_clients(person).filter(containing(words, CLIENT_FILTERS.words))
    sites = visible_sites(person).select_related("client").filter(containing(words, SITE_FILTERS.words))
    spas = visible_spas(person).select_related("site__client").filter(containing(words, SPA_FILTERS.words))
    return {
        # One more than is shown tells whether there are more.
        "clients": list(clients[: MOST_PER_KIND + 1]),
        "sites": list(sites.defer("access_code", "access_notes")[: MOST_PER_KIND + 1]),
        "spas": list(spas.defer("site__access_code", "site__access_notes")[: MOST_PER_KIND + 1]),
        "most": MOST_PER_KIND,
    }
