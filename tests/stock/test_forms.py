"""What is typed about products, batches and instruments: understood, or told with limit and unit."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scope

from service.stock.models import Batch, Instrument, Product, SiteProduct
from service.stock.register import archive
from tests.factories import BatchFactory, InstrumentFactory, ProductFactory
from tests.personas import Firm

PRODUCT = {
    "name": "Liquid chlorine",
    "substance": "sodium_hypochlorite",
    "strength_percent": "12.5",
    "form": "liquid",
    "density_g_ml": "1.2",
    "unit_mass_g": "",
    "label_wait_minutes": "30",
    "label_max_g_per_m3": "",
}
INSTRUMENT = {"name": "Photometer 1", "method": "photometer"}


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def test_strength_is_typed_in_percent_and_kept_as_a_fraction(firm: Firm, office: Any) -> None:
    office.post(reverse("stock:product_new"), PRODUCT | {"strength_percent": "12,345"[:5]})

    with scope(organisation=firm.organisation):
        product = Product.objects.get()
    assert product.active_fraction == Decimal("0.1234")
    assert (product.density_g_ml, product.label_wait_minutes) == (Decimal("1.2"), 30)

    form = office.get(reverse("stock:product_edit", args=[product.pk])).context["form"]
    assert form["strength_percent"].value() == "12.34"


def test_an_edit_that_leaves_the_strength_alone_keeps_it(firm: Firm, office: Any) -> None:
    office.post(reverse("stock:product_new"), PRODUCT)
    with scope(organisation=firm.organisation):
        product = Product.objects.get()
    office.post(reverse("stock:product_edit", args=[product.pk]), PRODUCT | {"label_wait_minutes": "45"})

    with scope(organisation=firm.organisation):
        product = Product.objects.get()
    assert (product.active_fraction, product.label_wait_minutes) == (Decimal("0.125"), 45)


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("strength_percent", "0", "Strength must be from 0.001 to 100 %."),
        ("strength_percent", "100.1", "Strength must be from 0.001 to 100 %."),
        ("strength_percent", "12.3456", "Strength must be a number with 3 decimals at most."),
        ("strength_percent", "strong", "Strength must be a number, from 0.001 to 100 %."),
        ("strength_percent", "", "Strength is missing: a number from 0.001 to 100 %."),
        ("density_g_ml", "0.1", "Density must be from 0.2 to 3 g/mL."),
        ("density_g_ml", "", "A liquid is measured in mL: its density is needed, in g/mL."),
        ("unit_mass_g", "2001", "Grams per tablet must be from 0.1 to 2,000 g."),
        ("label_wait_minutes", "10081", "Wait on the label must be from 0 to 10,080 minutes."),
        ("label_max_g_per_m3", "0", "Largest dose on the label must be from 0.01 to 100,000 g per m³."),
        ("substance", "", "Choose the substance."),
    ],
)
def test_a_figure_out_of_its_limits_is_told_with_limit_and_unit(
    firm: Firm, office: Any, field: str, typed: str, message: str
) -> None:
    answer = office.post(reverse("stock:product_new"), PRODUCT | {field: typed})

    assert answer.context["form"].errors == {field: [message]}
    assert answer.context["form"][field].value() == typed
    assert answer.context["form"]["name"].value() == "Liquid chlorine"


def test_tablets_need_the_mass_of_one(firm: Firm, office: Any) -> None:
    answer = office.post(reverse("stock:product_new"), PRODUCT | {"form": "tablet"})

    assert answer.context["form"].errors == {
        "unit_mass_g": ["Tablets are counted: the mass of one is needed, in g."]
    }


def test_a_name_that_is_taken_is_told_at_the_name(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        archive(row=ProductFactory(organisation=firm.organisation, name="Liquid chlorine"), by=firm.office)
    answer = office.post(reverse("stock:product_new"), PRODUCT)

    assert answer.context["form"].errors == {
        "name": ["“Liquid chlorine” is already taken by another product (archived)."]
    }


# Molar masses of Cl2 (70.906 g/mol), NaOCl (74.44), C3Cl2N3NaO3.2H2O (255.98), from IUPAC/CIAAW
# standard atomic weights: available chlorine of the pure substances is 95.2 % and 55.4 %.
@pytest.mark.parametrize(
    ("substance", "fraction", "shown"),
    [("sodium_hypochlorite", "0.125", "11.9 %"), ("dichlor_dihydrate", "1", "55.4 %")],
)
def test_the_available_chlorine_is_worked_out_to_compare_with_the_label(
    firm: Firm, office: Any, substance: str, fraction: str, shown: str
) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(
            organisation=firm.organisation, substance=substance, active_fraction=Decimal(fraction)
        )
    page = office.get(reverse("stock:product", args=[product.pk])).content.decode()

    assert f"<dd>{shown}, worked out from the strength: compare it with the label</dd>" in page


def test_a_product_that_brings_no_halogen_says_nothing_of_it(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation)
    page = office.get(reverse("stock:product", args=[product.pk])).content.decode()

    assert "Available chlorine" not in page
    assert "99 % by mass" in page


# --- batches ----------------------------------------------------------------------------------


def test_a_batch_is_added_and_an_expired_one_said_so(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation)
    with time_machine.travel("2026-05-20T12:00Z", tick=False):
        office.force_login(firm.office)
        for code, day in (("OLD", "2026-05-19"), ("TODAY", "2026-05-20"), ("NEW", "2027-01-31")):
            office.post(reverse("stock:batch_new", args=[product.pk]), {"code": code, "expires_on": day})
        for name in ("products", "product"):
            url = reverse(f"stock:{name}", args=[product.pk] if name == "product" else [])
            page = " ".join(office.get(url).content.decode().split())
            assert "▲" in page
            assert "Expired on 19 May 2026: do not use it" in page
            assert "Use by 20 May 2026" in page
            assert "Use by 31 January 2027" in page


@pytest.mark.parametrize(
    ("given", "at"),
    [
        ({"code": "", "expires_on": "2027-01-31"}, "code"),
        ({"code": "B2", "expires_on": "31 January"}, "expires_on"),
        ({"code": "B2", "expires_on": "1999-12-31"}, "expires_on"),
        ({"code": "B1", "expires_on": ""}, "code"),
    ],
    ids=["no code", "no day", "long ago", "taken"],
)
def test_a_batch_that_cannot_be_is_told_at_its_field(
    firm: Firm, office: Any, given: dict[str, str], at: str
) -> None:
    with scope(organisation=firm.organisation):
        product = BatchFactory(product__organisation=firm.organisation, code="B1").product
    answer = office.post(reverse("stock:batch_new", args=[product.pk]), given)

    assert list(answer.context["form"].errors) == [at]
    assert {name: answer.context["form"][name].value() for name in given} == given


def test_a_batch_is_archived_after_being_asked_and_brought_back(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        batch = BatchFactory(product__organisation=firm.organisation, code="B1")
    url = reverse("stock:batch_archive", args=[batch.pk])
    assert "Archive B1?" in office.get(url).content.decode()

    page = office.post(url, follow=True).content.decode()
    assert "Bring B1 back" in page
    office.post(reverse("stock:batch_restore", args=[batch.pk]))

    with scope(organisation=firm.organisation):
        assert Batch.objects.get(pk=batch.pk).archived_at is None


# --- instruments ------------------------------------------------------------------------------


def test_an_instrument_keeps_its_own_plus_minus_by_test(firm: Firm, office: Any) -> None:
    typed = INSTRUMENT | {"pm_ph": "0,05", "pm_free_chlorine_mg_l": "0.1", "checked_on": "2026-05-01"}
    office.post(reverse("stock:instrument_new"), typed)

    with scope(organisation=firm.organisation):
        instrument = Instrument.objects.get()
    assert instrument.plus_minus == {"ph": "0.05", "free_chlorine_mg_l": "0.1"}
    assert instrument.checked_on == date(2026, 5, 1)

    office.post(
        reverse("stock:instrument_edit", args=[instrument.pk]), INSTRUMENT | {"pm_ph": "", "serial": "7"}
    )
    with scope(organisation=firm.organisation):
        instrument = Instrument.objects.get()
    assert (instrument.plus_minus, instrument.serial, instrument.checked_on) == ({}, "7", None)


def test_an_edit_that_leaves_the_plus_minus_alone_keeps_it(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        kept = InstrumentFactory(organisation=firm.organisation, plus_minus={"ph": "0.05", "orp_mv": "5"})
    office.post(reverse("stock:instrument_edit", args=[kept.pk]), INSTRUMENT | {"pm_ph": "0.05"})

    with scope(organisation=firm.organisation):
        assert Instrument.objects.get().plus_minus == {"ph": "0.05", "orp_mv": "5"}


@pytest.mark.parametrize(
    ("given", "at", "words"),
    [
        ({"pm_ph": "-1"}, "pm_ph", "± pH must be from 0 to 14."),
        ({"pm_ph": "15"}, "pm_ph", "± pH must be from 0 to 14."),
        ({"checked_on": "2026-05-02", "check_due_on": "2026-05-01"}, "check_due_on", "after the last one"),
        ({"method": "nose"}, "method", "not one of the available choices"),
    ],
    ids=["negative", "too wide", "due before done", "method"],
)
def test_an_instrument_that_cannot_be_is_told_at_its_field(
    firm: Firm, office: Any, given: dict[str, str], at: str, words: str
) -> None:
    form = office.post(reverse("stock:instrument_new"), INSTRUMENT | given).context["form"]

    assert list(form.errors) == [at]
    assert words in form.errors[at][0]


@pytest.mark.parametrize(
    ("due", "words"),
    [
        ("2026-05-19", "▲ Check overdue since 19 May 2026: every reading says so"),
        ("2026-05-20", "Check due on 20 May 2026, within 30 days"),
        ("2026-06-20", "Check due on 20 June 2026"),
        (None, "No check planned"),
    ],
    ids=["yesterday", "today", "later", "none"],
)
def test_the_list_says_whether_the_check_is_due(firm: Firm, office: Any, due: str | None, words: str) -> None:
    with scope(organisation=firm.organisation):
        InstrumentFactory(organisation=firm.organisation, check_due_on=due)
    with time_machine.travel("2026-05-20T12:00Z", tick=False):
        office.force_login(firm.office)
        page = office.get(reverse("stock:instruments")).content.decode()

    assert words in page
    assert ("▲" in page) == words.startswith("▲")


@pytest.mark.parametrize(
    ("end", "words"),
    [("2026-05-19", "▲ Expired on 19 May 2026: do not use it"), ("2026-05-20", "Use by 20 May 2026")],
    ids=["yesterday", "today"],
)
def test_the_list_says_whether_reagents_serve(firm: Firm, office: Any, end: str, words: str) -> None:
    with scope(organisation=firm.organisation):
        InstrumentFactory(organisation=firm.organisation, reagent_expires_on=end, reagent_lot="R7")
    with time_machine.travel("2026-05-20T12:00Z", tick=False):
        office.force_login(firm.office)
        page = office.get(reverse("stock:instruments")).content.decode()

    assert words in page
    assert "(lot R7)" in page


# --- kept at a site ---------------------------------------------------------------------------


def test_a_product_is_noted_at_a_site_shown_there_and_taken_away(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        product = ProductFactory(organisation=firm.organisation, name="Soda")
    url = reverse("stock:site_products", args=[firm.site.pk])
    office.post(url, {"product": product.pk, "note": "Pump house"})

    page = office.get(reverse("sites:site", args=[firm.site.pk])).content.decode()
    assert "Soda</span>" in page
    assert "Pump house" in page

    with scope(organisation=firm.organisation):
        kept = SiteProduct.objects.get()
    office.post(reverse("stock:site_product_remove", args=[firm.site.pk, kept.pk]))
    with scope(organisation=firm.organisation):
        assert not SiteProduct.objects.exists()


def test_only_the_firms_products_in_use_are_offered_for_a_site(
    firm: Firm, stranger: Firm, office: Any
) -> None:
    with scope(organisation=firm.organisation):
        used = ProductFactory(organisation=firm.organisation, name="Used")
        gone = ProductFactory(organisation=firm.organisation, name="Gone")
        archive(row=gone, by=firm.office)
    with scope(organisation=stranger.organisation):
        foreign = ProductFactory(organisation=stranger.organisation, name="Foreign")
    url = reverse("stock:site_products", args=[firm.site.pk])
    page = office.get(url).content.decode()

    assert ("Used" in page, "Gone" in page, "Foreign" in page) == (True, False, False)
    for product in (gone, foreign):
        answer = office.post(url, {"product": product.pk, "note": "Pump house"})
        assert list(answer.context["form"].errors) == ["product"]
        assert answer.context["form"]["note"].value() == "Pump house"
    assert office.post(url, {"product": used.pk, "note": ""}).status_code == 302
