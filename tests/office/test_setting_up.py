"""An empty firm is led to its first week."""

from typing import Any

from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from accounts.roles import Role
from service.office.setting_up import setting_up
from tests.factories import (
    AgreementFactory,
    ClientFactory,
    InstrumentFactory,
    OrganisationFactory,
    PersonFactory,
    ProductFactory,
    ShiftFactory,
    SiteFactory,
    SpaFactory,
    TechnicianBaseFactory,
    VisitFactory,
)
from tests.personas import Firm
from tests.visits.working import signed

URL = "/office/setting-up/"


def test_an_empty_firm_is_asked_for_one_thing_after_the_other(db: Any) -> None:
    firm = OrganisationFactory()
    with scope(organisation=firm):
        office = PersonFactory(organisation=firm, roles=[Role.OFFICE])

        def follows() -> str:
            step = setting_up(by=office).next
            return step.name if step else ""

        asked = []
        technician: Any = None
        client: Any = None
        site: Any = None
        spa: Any = None
        while (name := follows()) and name not in asked:
            asked.append(name)
            if name == "People":
                technician = PersonFactory(organisation=firm, roles=[Role.TECHNICIAN])
            elif name == "Base and shifts":
                TechnicianBaseFactory(technician=technician)
                ShiftFactory(technician=technician)
            elif name == "Products":
                ProductFactory(organisation=firm)
            elif name == "Instruments":
                InstrumentFactory(organisation=firm)
            elif name == "First client":
                client = ClientFactory(organisation=firm)
            elif name == "First site":
                site = SiteFactory(client=client)
            elif name == "First spa":
                spa = SpaFactory(site=site)
            elif name == "First agreement":
                AgreementFactory(spa=spa)
            elif name == "First week":
                VisitFactory(spa=spa, planned_on=timezone.localdate())

        assert asked == [
            "People",
            "Base and shifts",
            "Products",
            "Instruments",
            "First client",
            "First site",
            "First spa",
            "First agreement",
            "First week",
        ]
        assert follows() == ""


def test_the_office_is_led_there_until_the_firm_is_at_work(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.office)

    assert browser.get("/")["Location"] == URL

    with scope(organisation=firm.organisation):
        signed(firm)

    assert browser.get("/")["Location"] == reverse("rounds:week")


def test_a_technician_is_not_led_there(firm: Firm, sign_in: Any) -> None:
    browser = sign_in(firm.technician)

    assert browser.get("/")["Location"] == reverse("visits:today")
    assert browser.get(URL).status_code == 404


def test_the_page_says_what_is_done_and_leads_to_what_is_not(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.owner).get(URL).content.decode()

    assert "4 of 9 steps are done" in page
    assert reverse("stock:product_new") in page
    assert reverse("importing:lists") in page
