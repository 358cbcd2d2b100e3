"""The page of what needs a person: what it says, to whom, in how many queries."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from accounts.roles import Role
from service.visits.closures import close_spa
from tests.factories import BookingFactory, ClientFactory, SiteFactory, SpaFactory, VisitFactory
from tests.personas import Firm
from tests.visits.working import signed

URL = "/office/"


def test_nothing_to_do_says_so_and_what_comes_next(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.office).get(URL).content.decode()

    assert "Nothing needs you" in page
    assert reverse("visits:planned") in page


def test_each_line_has_one_thing_to_press_that_names_what_it_is_about(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        close_spa(spa=firm.spa, reason="Glass in the water", by=firm.office)

    page = sign_in(firm.office).get(URL).content.decode()

    assert page.count('class="need"') == page.count('class="button"') == 1
    assert f'Plan the retest<span class="unseen">: {firm.spa.name}' in page


def test_another_firms_troubles_are_not_in_it(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    with scope(organisation=stranger.organisation):
        close_spa(spa=stranger.spa, reason="Their glass", by=stranger.office)
        stranger.technician.signing_pin = ""
        stranger.technician.save()
        VisitFactory(spa=stranger.spa, technician=stranger.technician)

    page = sign_in(firm.office).get(URL).content.decode()

    assert "Nothing needs you" in page


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR, Role.RENTAL_MANAGER])
def test_only_who_plans_sees_it(firm: Firm, sign_in: Any, role: Role) -> None:
    assert sign_in(firm.people[role]).get(URL).status_code == 404


def test_the_office_comes_to_the_week_and_has_this_beside_it(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        signed(firm)

    answer = sign_in(firm.office).get("/", follow=True)

    assert answer.request["PATH_INFO"] == "/rounds/week/"
    assert [place.url for place in answer.context["places"]][:2] == ["/rounds/week/", URL]


def test_a_filter_that_leaves_nothing_offers_the_whole_list(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        close_spa(spa=firm.spa, reason="Glass", by=firm.office)

    page = sign_in(firm.office).get(URL, {"kind": "batch"}).content.decode()

    assert "Nothing of that kind needs you" in page


def test_three_hundred_spas_in_trouble_take_twelve_queries_and_come_in_pages(
    firm: Firm, sign_in: Any, django_assert_max_num_queries: Any
) -> None:
    yesterday = timezone.localdate() - timedelta(days=1)
    with scope(organisation=firm.organisation):
        site = SiteFactory(client=ClientFactory(organisation=firm.organisation))
        sets = ("new_york_6_1", "uk_hsg282", "iowa_641_15")
        for number in range(300):
            spa = SpaFactory(
                site=site, guideline_id=sets[number % 3], commissioned_on=yesterday - timedelta(days=400)
            )
            VisitFactory(spa=spa, technician=firm.technician, planned_on=yesterday)
        BookingFactory(
            site=site,
            arrives_at=timezone.now() + timedelta(hours=30),
            leaves_at=timezone.now() + timedelta(hours=60),
        )
    browser = sign_in(firm.office)
    browser.get(URL)

    with django_assert_max_num_queries(12):
        first = browser.get(URL)
    last = browser.get(URL, {"page": 999})

    assert first.content.count(b'class="need"') == 50
    assert 0 < last.content.count(b'class="need"') <= 50
