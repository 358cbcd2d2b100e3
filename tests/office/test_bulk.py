"""Many rows changed at once: looked at first, only one's own, each by its use case, all on the trail."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from django_scopes import scope

from accounts.models import AuditEvent
from accounts.roles import Role
from service.sites.models import Client, Feeder, Sanitiser, Spa
from service.visits.models import Visit, VisitState
from tests.factories import ClientFactory, SpaFactory, VisitFactory
from tests.personas import Firm
from tests.visits.working import started

TOMORROW = timezone.localdate() + timedelta(days=1)


def address(kind: str, change: str, *rows: Any, **more: str) -> str:
    asked = [f"change={change}", *(f"row={row.pk}" for row in rows), *(f"{k}={v}" for k, v in more.items())]
    return f"/office/change/{kind}/?{'&'.join(asked)}"


def do(browser: Any, url: str, value: str = "") -> Any:
    return browser.post(url, {"value": value, "step": "do"})


def test_a_summary_says_what_would_change_and_changes_nothing(firm: Firm, sign_in: Any) -> None:
    url = address("clients", "kind", firm.client, firm.hidden_client)

    page = sign_in(firm.office).post(url, {"value": "hotel"}).content.decode()

    assert "Clients: 2 of 2 would change" in page
    assert "Holiday let" in page
    with scope(organisation=firm.organisation):
        assert set(Client.objects.values_list("kind", flat=True)) == {"let"}
        assert AuditEvent.objects.filter(action="client.changed").count() == 0


def test_done_each_row_is_on_the_trail_and_one_entry_tells_of_all(firm: Firm, sign_in: Any) -> None:
    do(sign_in(firm.office), address("clients", "kind", firm.client, firm.hidden_client), "hotel")

    with scope(organisation=firm.organisation):
        assert set(Client.objects.values_list("kind", flat=True)) == {"hotel"}
        assert AuditEvent.objects.filter(action="client.changed").count() == 2
        event = AuditEvent.objects.get(action="firm.rows_changed")
        assert event.detail["rows"] == 2


def test_all_that_the_filter_found_are_changed_and_no_others(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        SpaFactory.create_batch(3, site=firm.site, name="Otter tub")

    do(sign_in(firm.office), address("spas", "feeder", all="1", q="otter"), "floater")

    with scope(organisation=firm.organisation):
        floating = Spa.objects.filter(feeder=Feeder.FLOATER)
        assert {spa.name for spa in floating} == {"Otter tub"}
        assert floating.count() == 3


def test_what_cannot_be_changed_is_skipped_with_its_reason_and_the_rest_is_done(
    firm: Firm, sign_in: Any
) -> None:
    with scope(organisation=firm.organisation):
        firm.spa.sanitiser = Sanitiser.BROMINE
        firm.spa.save()
        on_site = started(firm, firm.hidden_spa)
        waiting = VisitFactory(spa=firm.spa, technician=firm.technician, planned_on=TOMORROW)
    browser = sign_in(firm.office)
    url = address("visits", "cancel", on_site, waiting)

    page = browser.post(url, {"value": "Storm"}).content.decode()
    assert "Visits: 1 of 2 would change" in page
    assert "Skipped" in page

    do(browser, url, "Storm")
    with scope(organisation=firm.organisation):
        assert Visit.objects.get(pk=waiting.pk).state == VisitState.CANCELLED
        assert Visit.objects.get(pk=waiting.pk).end_reason == "Storm"
        assert Visit.objects.get(pk=on_site.pk).state == VisitState.ON_SITE


def test_visits_move_to_another_day_and_to_another_person(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        visits = [VisitFactory(spa=spa, planned_on=TOMORROW) for spa in (firm.spa, firm.hidden_spa)]
    browser, later = sign_in(firm.office), TOMORROW + timedelta(days=2)

    do(browser, address("visits", "day", *visits), later.isoformat())
    do(browser, address("visits", "technician", *visits), str(firm.technician.pk))

    with scope(organisation=firm.organisation):
        assert {(v.planned_on, v.technician) for v in Visit.objects.all()} == {(later, firm.technician)}


def test_another_firms_rows_are_left_alone(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    do(sign_in(firm.office), address("clients", "archive", firm.client, stranger.client))

    with scope(organisation=stranger.organisation):
        assert Client.objects.get(pk=stranger.client.pk).archived_at is None
    with scope(organisation=firm.organisation):
        assert Client.objects.get(pk=firm.client.pk).archived_at is not None


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR, Role.RENTAL_MANAGER])
@pytest.mark.parametrize("kind", ["clients", "sites", "spas", "visits", "agreements"])
def test_only_the_office_changes_rows(firm: Firm, sign_in: Any, role: Role, kind: str) -> None:
    browser = sign_in(firm.people[role])

    assert browser.get(f"/office/change/{kind}/").status_code == 404
    assert do(browser, address(kind, "archive", firm.client)).status_code == 404


def test_more_than_five_hundred_rows_are_refused_with_the_limit(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        Client.objects.bulk_create(
            ClientFactory.build(organisation=firm.organisation, name=f"C{number}") for number in range(501)
        )
    browser = sign_in(firm.office)

    page = do(browser, address("clients", "archive", all="1")).content.decode()

    assert "At most 500 rows" in page
    with scope(organisation=firm.organisation):
        assert Client.objects.exclude(archived_at=None).count() == 0


@pytest.mark.parametrize("value", ["", "pool", "\0"])
def test_a_value_that_cannot_be_is_told_at_its_field(firm: Firm, sign_in: Any, value: str) -> None:
    page = sign_in(firm.office).post(address("clients", "kind", firm.client), {"value": value})

    assert page.status_code == 200
    assert page.context["form"].errors["value"]


@pytest.mark.parametrize("kind", ["clients", "sites", "spas"])
def test_a_list_has_a_box_for_each_row_for_those_who_may_change_it(
    firm: Firm, sign_in: Any, kind: str
) -> None:
    office = sign_in(firm.office).get(f"/{kind}/").content.decode()
    technician = sign_in(firm.technician).get(f"/{kind}/").content.decode()

    assert office.count('name="row"') == 2
    assert "Change all 2 found" in office
    assert 'name="row"' not in technician


def test_an_unknown_list_does_not_exist_and_rows_that_are_no_keys_choose_nothing(
    firm: Firm, sign_in: Any
) -> None:
    browser = sign_in(firm.office)

    assert browser.get("/office/change/people/").status_code == 404
    assert "Nothing is chosen" in browser.get("/office/change/spas/?row=x&row=1").content.decode()
