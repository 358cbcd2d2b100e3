"""One page that searches everything a person may see."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.office.search import found
from service.sites.listing import words_field


class SearchForm(forms.Form):
    q = words_field()


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def search(request: HttpRequest) -> HttpResponse:
    form = SearchForm(request.GET)
    words = form.cleaned_data["q"] if form.is_valid() else ""
    groups = found(by=signed_in(request), words=words) if words else []
    return render(request, "office/search.html", {"form": form, "words": words, "groups": groups})
