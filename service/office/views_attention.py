"""What needs a person today, as one list."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.office.attention import Attention, attention
from service.office.need import Kind, Need, Urgency

LINES_PER_PAGE = 50


class AttentionFilter(forms.Form):
    """Kind and technician, in the address. Only what stands in the list can be chosen."""

    kind = forms.ChoiceField(label="Kind", required=False)
    technician = forms.ChoiceField(label="Technician", required=False)

    def __init__(self, *args: Any, found: Attention, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = [(str(kind), f"{kind.words} ({found.counts[kind]})") for kind in Kind if found.counts[kind]]
        for name, choices in (
            ("kind", [("", "Every kind"), *kinds]),
            ("technician", [("", "Everybody"), *found.technicians]),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = choices


@page_for(Action.PLAN_VISITS)
@require_safe
def attention_page(request: HttpRequest) -> HttpResponse:
    """Everything that needs a person, most urgent first, narrowed by the address."""
    person = signed_in(request)
    kind, technician = request.GET.get("kind", ""), request.GET.get("technician", "")
    found = attention(by=person, kind=kind, technician=technician)
    page = Paginator(found.needs, LINES_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": AttentionFilter({"kind": kind, "technician": technician}, found=found),
        "filtered": found.narrowed,
        "total": sum(found.counts.values()),
        "shown": len(found.needs),
        "page": page,
        "groups": _groups(list(page), found.needs),
    }
    return render(request, "office/attention.html", context)


def _groups(lines: Sequence[Need], of: Sequence[Need]) -> list[tuple[str, int, list[Need]]]:
    """Heading, how many there are on all pages, and the lines of this page; by urgency."""
    groups = []
    for urgency in Urgency:
        if mine := [need for need in lines if need.urgency == urgency]:
            groups.append((urgency.heading, sum(need.urgency == urgency for need in of), mine))
    return groups
