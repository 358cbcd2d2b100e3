"""Readings of the tap water: what is known, what is not, and what cannot be."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent, Organisation
from service.chemistry.readings import PARAMETERS, parse_readings
from service.sites import supply_water
from service.sites.models import Site
from service.sites.supply_water import record_supply_water
from tests.personas import Firm

TODAY = date(2026, 5, 20)
KNOWN = {"ph": Decimal("7.8"), "total_alkalinity_mg_l": Decimal(95), "calcium_hardness_mg_l": None}


def test_readings_are_kept_as_the_chemistry_takes_them(in_firm: Firm) -> None:
    site = record_supply_water(
        site=in_firm.site, readings=KNOWN, tested_on=date(2026, 5, 3), today=TODAY, by=in_firm.office
    )
    site.refresh_from_db()

    assert site.supply_water == {"ph": 7.8, "total_alkalinity_mg_l": 95}
    assert parse_readings(site.supply_water)["ph"].typed == Decimal("7.8")
    event = AuditEvent.objects.get()
    assert event.action == "site.supply_water_recorded"
    assert event.detail["supply_water"] == [{}, {"ph": 7.8, "total_alkalinity_mg_l": 95}]


def test_what_is_left_empty_is_not_known_any_more(in_firm: Firm) -> None:
    for readings in (KNOWN, {"ph": Decimal("7.6")}):
        record_supply_water(
            site=in_firm.site, readings=readings, tested_on=TODAY, today=TODAY, by=in_firm.office
        )

    assert Site.objects.get(pk=in_firm.site.pk).supply_water == {"ph": 7.6}


@pytest.mark.parametrize(
    ("readings", "tested_on", "at"),
    [
        ({"ph": Decimal("14.1")}, TODAY, "ph"),
        ({"total_alkalinity_mg_l": Decimal(-1)}, TODAY, "total_alkalinity_mg_l"),
        ({"orp_mv": Decimal(650)}, TODAY, "orp_mv"),
        ({"soap": Decimal(1)}, TODAY, "soap"),
        ({"free_chlorine_mg_l": Decimal(2), "total_chlorine_mg_l": Decimal(1)}, TODAY, "total_chlorine_mg_l"),
        ({"ph": Decimal(7)}, TODAY + timedelta(days=1), "tested_on"),
        ({"ph": Decimal(7)}, None, "tested_on"),
    ],
    ids=["too high", "negative", "not of supply water", "unknown", "contradiction", "tomorrow", "no day"],
)
def test_water_that_cannot_be_is_refused_at_its_field(
    in_firm: Firm, readings: dict[str, Decimal], tested_on: date | None, at: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        record_supply_water(
            site=in_firm.site, readings=readings, tested_on=tested_on, today=TODAY, by=in_firm.office
        )

    assert list(refused.value.message_dict) == [at]
    assert Site.objects.get(pk=in_firm.site.pk).supply_water == {}


def test_people_who_only_read_record_nothing(in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        record_supply_water(
            site=in_firm.site, readings=KNOWN, tested_on=TODAY, today=TODAY, by=in_firm.technician
        )


# --- on the page ------------------------------------------------------------------------------


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def url(firm: Firm) -> str:
    return reverse("sites:site_supply_water", args=[firm.site.pk])


def test_the_page_says_each_limit_with_its_unit(firm: Firm, office: Any) -> None:
    page = office.get(url(firm)).content.decode()

    for name in supply_water.PARAMETERS:
        parameter = PARAMETERS[name]
        assert parameter.label in page
        assert f"From {parameter.low:g} to {parameter.high:,.0f} {parameter.unit}".strip() in page


def test_what_is_typed_is_saved_and_shown(firm: Firm, office: Any) -> None:
    typed = {"ph": "7,8", "total_alkalinity_mg_l": "95", "tested_on": "2026-05-03"}
    page = office.post(url(firm), typed, follow=True).content.decode()

    assert "95 mg/L as CaCO3" in page
    assert "Tested on 3 May 2026. What is not listed is not known." in page
    again = office.get(url(firm)).context["form"]
    assert (again["ph"].value(), str(again["tested_on"].value())) == (7.8, "2026-05-03")


def test_a_reading_out_of_its_limits_is_told_and_all_that_was_typed_is_kept(firm: Firm, office: Any) -> None:
    typed = {"ph": "15", "total_alkalinity_mg_l": "1001", "sulfate_mg_l": "40", "tested_on": "2026-05-03"}
    answer = office.post(url(firm), typed)

    assert answer.context["form"].errors == {
        "ph": ["pH must be from 0 to 14."],
        "total_alkalinity_mg_l": ["Total alkalinity must be from 0 to 1,000 mg/L as CaCO3."],
    }
    assert {name: answer.context["form"][name].value() for name in typed} == typed


def test_total_below_free_chlorine_is_told_at_the_total(firm: Firm, office: Any) -> None:
    typed = {"free_chlorine_mg_l": "0.5", "total_chlorine_mg_l": "0.2", "tested_on": "2026-05-03"}

    words = office.post(url(firm), typed).context["form"].errors["total_chlorine_mg_l"]

    assert words == ["Total chlorine must be at least the free chlorine, 0.5 mg/L as Cl2: repeat both tests."]


@pytest.mark.parametrize(
    ("zone", "saved"), [("Pacific/Auckland", True), ("Europe/London", False)], ids=["there", "here"]
)
def test_today_is_the_day_of_the_firm(firm: Firm, office: Any, zone: str, saved: bool) -> None:
    Organisation.objects.filter(pk=firm.organisation.pk).update(time_zone=zone)
    firm.organisation.refresh_from_db()
    with time_machine.travel(datetime(2026, 5, 19, 14, 0, tzinfo=UTC), tick=False):
        office.force_login(firm.office)
        answer = office.post(url(firm), {"ph": "7", "tested_on": "2026-05-20"})

    assert (answer.status_code == 302) == saved


def test_a_site_without_readings_says_how_to_come_by_them(firm: Firm, office: Any) -> None:
    page = office.get(reverse("sites:site", args=[firm.site.pk])).content.decode()

    assert "take the figures from the supplier" in page
    with scope(organisation=firm.organisation):
        assert Site.objects.get(pk=firm.site.pk).supply_water == {}
