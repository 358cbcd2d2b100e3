"""The day of one person: what is on it, in which order, at what cost."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.utils import timezone

from service.visits.models import VisitState
from service.visits.open import end_without_signing, hand_over
from service.visits.plan import cancel_visit
from service.visits.stops import stops_of_day
from tests.factories import PersonFactory, SiteFactory, SpaFactory
from tests.personas import Firm
from tests.visits.working import planned


def test_visits_at_one_site_are_one_stop_in_driving_order(in_firm: Firm) -> None:
    second_spa = SpaFactory(site=in_firm.site)
    elsewhere = SpaFactory(site=SiteFactory(client=in_firm.client))
    late = planned(in_firm, elsewhere, sequence=2, window_to=time(15))
    first = planned(in_firm, sequence=1, window_from=time(10), window_to=time(12))
    with_it = planned(in_firm, second_spa, sequence=1, window_from=time(11), window_to=time(16))

    stops = stops_of_day(in_firm.technician, timezone.localdate())

    assert [stop.site for stop in stops] == [in_firm.site, elsewhere.site]
    assert stops[0].visits == (first, with_it)
    assert (stops[0].window_from, stops[0].window_to) == (time(10), time(16))
    assert stops[1].visits == (late,)
    assert stops[0].fitness[in_firm.spa.pk].state == "not_tested"


def test_other_days_other_people_and_cancelled_visits_are_left_out(in_firm: Firm) -> None:
    colleague = PersonFactory(organisation=in_firm.organisation, roles=["technician"])
    planned(in_firm, technician=colleague)
    planned(in_firm, planned_on=timezone.localdate() + timedelta(1))
    cancel_visit(visit=planned(in_firm), reason="Owner rang", by=in_firm.office)
    hand_over(visit=planned(in_firm), to=colleague, reason="Sick", by=in_firm.office)

    assert stops_of_day(in_firm.technician, timezone.localdate()) == []
    assert len(stops_of_day(colleague, timezone.localdate())[0].visits) == 2


def test_a_stop_is_done_when_none_of_its_visits_is_open(in_firm: Firm) -> None:
    visit = planned(in_firm)
    assert not stops_of_day(in_firm.technician, timezone.localdate())[0].is_done

    end_without_signing(visit=visit, state=VisitState.NO_ACCESS, reason="Locked", by=in_firm.technician)

    assert stops_of_day(in_firm.technician, timezone.localdate())[0].is_done


@pytest.mark.parametrize("spas", [1, 12])
def test_a_day_costs_three_queries_however_long_it_is(
    in_firm: Firm, spas: int, django_assert_num_queries: Any
) -> None:
    for number in range(spas):
        planned(in_firm, SpaFactory(site=in_firm.site), sequence=number)

    with django_assert_num_queries(3):
        stops = stops_of_day(in_firm.technician, timezone.localdate())
        assert {visit.spa.site.client.name for stop in stops for visit in stop.visits}


def test_a_day_without_visits_is_empty(in_firm: Firm) -> None:
    assert stops_of_day(in_firm.technician, date(2026, 12, 24)) == []
