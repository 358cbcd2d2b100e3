"""Pages of products, their batches, and what is kept at a site."""

from copy import copy
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.chemistry.substances import SUBSTANCES
from service.shell.days import today_at
from service.sites.forms import done_or_told, typed
from service.sites.listing import IN_USE_FIRST, Column, Filters, listing, state_field, words_field
from service.sites.models import Site
from service.sites.pages import Step, form_page, trail, url_of
from service.sites.visible import visible_sites
from service.stock.due import use_by
from service.stock.forms import BatchForm, ProductForm, SiteProductForm
from service.stock.models import Batch, Form, Product, SiteProduct
from service.stock.pages import archive_page, restore_and_return
from service.stock.register import (
    add_batch,
    add_product,
    change_batch,
    change_product,
    keep_at_site,
    no_longer_at_site,
)

COLUMNS = (
    Column("name", "Product", ("name",)),
    Column("substance", "Substance", ("substance", "name")),
    Column("strength", "Strength", ("active_fraction", "name"), figure=True),
    Column("form", "Form", ("form", "name")),
    Column("wait", "Wait", ("label_wait_minutes", "name"), figure=True),
    Column("batches", "Batches"),
)


class ProductFilter(forms.Form):
    q = words_field()
    form = forms.ChoiceField(label="Form", choices=[("", "Any form"), *Form.choices], required=False)
    state = state_field()


FILTERS = Filters(
    form=ProductFilter,
    words=("name", "substance", "batches__code"),
    equal={"form": "form"},
    archived=("archived_at",),
)


@page_for(Action.SEE_FIRM)
@require_safe
def products(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    in_use = Batch.objects.filter(archived_at=None)
    rows = Product.objects.prefetch_related(Prefetch("batches", queryset=in_use))
    found = listing(rows.distinct(), given=request.GET, filters=FILTERS, columns=COLUMNS)
    today = today_at(person.organisation)
    lines = [
        (row, SUBSTANCES.get(row.substance), [(batch, use_by(batch, today)) for batch in row.batches.all()])
        for row in found.page
    ]
    context = {"listing": found, "lines": lines, "may_edit": person.may(Action.EDIT_STOCK)}
    return render(request, "stock/products.html", context)


@page_for(Action.SEE_FIRM)
@require_safe
def product(request: HttpRequest, pk: UUID) -> HttpResponse:
    person = signed_in(request)
    row = get_object_or_404(Product, pk=pk)
    today = today_at(person.organisation)
    substance = SUBSTANCES.get(row.substance)
    share = float(row.active_fraction) * 100
    context = {
        "product": row,
        "substance": substance,
        "chlorine_percent": share * substance.free_chlorine_per_gram if substance else 0,
        "bromine_percent": share * substance.bromine_per_gram if substance else 0,
        "batches": [(batch, use_by(batch, today)) for batch in row.batches.order_by(IN_USE_FIRST, "code")],
        "may_edit": person.may(Action.EDIT_STOCK),
        "trail": [_list_step()],
    }
    return render(request, "stock/product.html", context)


def _list_step() -> Step:
    return Step("Products", reverse("stock:products"))


def _steps(row: Product) -> list[Step]:
    return [_list_step(), Step(row.name, _url(row))]


def _url(row: Product) -> str:
    return reverse("stock:product", args=[row.pk])


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def product_new(request: HttpRequest) -> HttpResponse:
    form = ProductForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_product(by=signed_in(request), **form.values()))
        if new:
            messages.success(request, f"{new} is added. Next: the batch that is in the van.")
            return redirect(_url(new))
    return form_page(
        request,
        form,
        heading="New product",
        submit="Add the product",
        back=reverse("stock:products"),
        steps=[_list_step()],
        groups=ProductForm.groups,
    )


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def product_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Product, pk=pk)
    form = ProductForm(request.POST or None, instance=copy(row))
    if form.is_valid():
        changed = done_or_told(
            form, lambda: change_product(product=row, by=signed_in(request), **form.values())
        )
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(_url(changed))
    return form_page(
        request,
        form,
        heading=f"Change {row}",
        submit="Save",
        back=_url(row),
        steps=_steps(row),
        groups=ProductForm.groups,
        lead="What you change counts from the next decision on. "
        "Earlier records keep the product they were dosed with.",
    )


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def product_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Product, pk=pk)
    consequence = "No treatment uses it until you bring it back. Records that name it stay."
    return archive_page(request, row, consequence=consequence, back=_url(row))


@page_for(Action.EDIT_STOCK)
@require_POST
def product_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(Product, pk=pk)
    return restore_and_return(request, row, _url(row))


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def batch_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A new batch of the product ``pk``."""
    row = get_object_or_404(Product, pk=pk)
    form = BatchForm(request.POST or None)
    if form.is_valid():
        new = done_or_told(form, lambda: add_batch(product=row, by=signed_in(request), **typed(form)))
        if new:
            messages.success(request, f"Batch {new} is added.")
            return redirect(_url(row))
    return _batch_form(request, form, row, heading=f"New batch of {row}", submit="Add the batch")


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def batch_edit(request: HttpRequest, pk: UUID) -> HttpResponse:
    batch = _batch(pk)
    form = BatchForm(request.POST or None, instance=copy(batch))
    if form.is_valid():
        changed = done_or_told(form, lambda: change_batch(batch=batch, by=signed_in(request), **typed(form)))
        if changed:
            messages.success(request, f"Batch {changed} is saved.")
            return redirect(_url(batch.product))
    return _batch_form(request, form, batch.product, heading=f"Change batch {batch}", submit="Save")


def _batch(pk: UUID) -> Batch:
    return get_object_or_404(Batch.objects.select_related("product"), pk=pk)


def _batch_form(
    request: HttpRequest, form: BatchForm, row: Product, *, heading: str, submit: str
) -> HttpResponse:
    return form_page(request, form, heading=heading, submit=submit, back=_url(row), steps=_steps(row))


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def batch_archive(request: HttpRequest, pk: UUID) -> HttpResponse:
    batch = _batch(pk)
    consequence = f"It is no longer offered when {batch.product} is dosed. Records that name it stay."
    return archive_page(request, batch, consequence=consequence, back=_url(batch.product))


@page_for(Action.EDIT_STOCK)
@require_POST
def batch_restore(request: HttpRequest, pk: UUID) -> HttpResponse:
    batch = _batch(pk)
    return restore_and_return(request, batch, _url(batch.product))


@page_for(Action.EDIT_STOCK)
@require_http_methods(["GET", "POST"])
def site_products(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What is kept at the site ``pk``."""
    site = _site(signed_in(request), pk)
    form = SiteProductForm(request.POST or None, products=Product.objects.filter(archived_at=None))
    if form.is_valid():
        given = form.cleaned_data
        kept = done_or_told(
            form,
            lambda: keep_at_site(
                site=site, product=given["product"], note=given["note"], by=signed_in(request)
            ),
        )
        if kept:
            messages.success(request, f"{given['product']} is noted at {site}.")
            return redirect("stock:site_products", pk=site.pk)
    context = {
        "site": site,
        "site_url": url_of(site),
        "trail": trail(site),
        "form": form,
        "products": site.products_on_site.select_related("product").order_by("product__name"),
    }
    return render(request, "stock/site_products.html", context)


def _site(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).select_related("client"), pk=pk)


@page_for(Action.EDIT_STOCK)
@require_POST
def site_product_remove(request: HttpRequest, pk: UUID, kept_pk: UUID) -> HttpResponse:
    site = _site(signed_in(request), pk)
    kept = get_object_or_404(SiteProduct.objects.filter(site=site).select_related("product"), pk=kept_pk)
    no_longer_at_site(kept=kept, by=signed_in(request))
    messages.success(request, f"{kept.product} is no longer noted at {site}.")
    return redirect("stock:site_products", pk=site.pk)
