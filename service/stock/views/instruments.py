"""Pages of instruments: what tests the water, and when it was last checked."""

from copy import copy
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.listing import Column, Filters, listing, state_field, words_field
from service.sites.pages import Step, form_page
from service.stock.due import check_due, reagent_due
from service.stock.forms import InstrumentForm
from service.stock.models import Instrument, Method
from service.stock.pages import archive_page, restore_and_return
from service.stock.register import add_instrument, change_instrument

COLUMNS = (
    Column("name", "Instrument", ("name",)),
    Column("method", "Method", ("method", "name")),
    Column("serial", "Serial number", ("serial", "name")),
    Column("check", "Check", ("check_due_on", "name")),
    Column("reagent", "Reagent or strips", ("reagent_expires_on", "name")),
)


class InstrumentFilter(forms.Form):
    q = words_field()
    method = forms.ChoiceField(label="Method", choices=[("", "Any method"), *Method.choices], required=False)
    state = state_field()


FILTERS = Filters(
    form=InstrumentFilter,
    words=("name", "serial", "reagent_lot"),
    equal={"method": "method"},
    archived=("archived_at",),
)


@page_for(Action.SEE_FIRM)
@require_safe
def instruments(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    found = listing(Instrument.objects.all(), given=request.GET, filters=FILTERS, columns=COLUMNS)
    today = today_at(person.organisation)
    lines = [(row, check_due(row, today), reagent_due(row, today)) for row in found.page]
    context = {"listing": found, "lines": lines, "may_edit": person.may(Action.EDIT_STOCK)}
    return render(request, "stock/instruments.html", context)


def _list_step() -> Step:
    return Step("Instruments", reverse("stock:instruments"))


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def instrument_new(request: HttpRequest) -> HttpResponse:
    form = InstrumentForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_instrument(by=signed_in(request), **form.values()))
        if new:
            messages.success(request, f"{new} is added.")
            return redirect("stock:instruments")
    return _page(request, form, heading="New instrument", submit="Add the instrument")


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def instrument_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    form = InstrumentForm(request.POST or None, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(
            form, lambda: change_instrument(instrument=row, by=signed_in(request), **form.values())
        )
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect("stock:instruments")
    return _page(request, form, heading=f"Change {row}", submit="Save")


def _page(request: HttpRequest, form: InstrumentForm, *, heading: str, submit: str) -> HttpResponse:
    return form_page(
        request,
        form,
        heading=heading,
        submit=submit,
        back=reverse("stock:instruments"),
        steps=[_list_step()],
        groups=InstrumentForm.groups,
        lead="Where its own ± is empty, the usual one of its method is used.",
    )


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def instrument_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    consequence = "It is no longer offered when a reading is entered. Records that name it stay."
    return archive_page(request, row, consequence=consequence, back=reverse("stock:instruments"))


@page_for(Action.EDIT_STOCK)
@require_POST
def instrument_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    return restore_and_return(request, row, reverse("stock:instruments"))
