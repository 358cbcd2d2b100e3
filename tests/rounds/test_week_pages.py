"""The office's week on its pages: read, plan, compare, publish, move, and meet the day."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from service.rounds.hairline import Scale, hairline, scale_of
from service.rounds.mending import mend_of
from service.rounds.models import DayOff, PlannedVisit, PlanState, WeekPlan
from service.rounds.moves import pin
from service.rounds.publish import foretell_publish, publish_week
from service.runs.models import Run, RunState
from service.visits.models import Visit, VisitState
from tests.personas import Firm
from tests.rounds.planned import planned_round
from tests.rounds.week_scene import (
    MONDAY,
    inputs_for,
    kept,
    owed_to,
    second_technician,
    spas_around,
    week_shifts,
)

BEFORE = datetime.combine(MONDAY - timedelta(days=3), time(12)).astimezone()
WEEK = f"/rounds/week/{MONDAY}/"


@pytest.fixture
def friday_before() -> Any:
    with time_machine.travel(BEFORE, tick=False):
        yield


@pytest.fixture
def drafted(friday_before: Any, in_firm: Firm) -> WeekPlan:
    """A draft of two people and six visits."""
    owed = [owed_to(spa) for spa in spas_around(in_firm, 6)]
    people = in_firm.technician, second_technician(in_firm)
    return kept(in_firm, inputs_for(in_firm, owed, week_shifts(*people)))


def first_of(plan: WeekPlan) -> PlannedVisit:
    row = (
        plan.visits.filter(day__isnull=False)
        .select_related("plan__organisation", "spa", "technician")
        .first()
    )
    assert row is not None
    return row


def text_of(answer: Any) -> str:
    assert answer.status_code == 200, answer.status_code
    return " ".join(answer.content.decode().split())


def test_a_week_says_its_rounds_its_sums_and_where_its_times_come_from(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    page = text_of(sign_in(in_firm.office).get(WEEK))

    assert "○ Draft, not on people" in page
    assert "straight line" in page
    assert "45 %" in page
    assert f"{drafted.figures['visits']} on {drafted.figures['rounds']} round" in page
    assert all(row.spa.name in page for row in drafted.visits.select_related("spa"))


def test_a_technician_reads_the_week_and_is_offered_no_change(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    publish_week(plan=drafted, by=in_firm.office)

    page = text_of(sign_in(in_firm.technician).get(WEEK))

    assert first_of(drafted).spa.name in page
    assert "Move…" not in page
    assert "Plan the week" not in page


def test_a_draft_is_for_who_plans_and_nobody_else(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.technician)

    assert "This week is not planned yet" in text_of(browser.get(WEEK))
    assert browser.get(f"/rounds/plans/{drafted.pk}/").status_code == 404


def test_a_visit_without_a_place_says_why_and_what_mends_it(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        plan = planned_round(firm.technician, firm.spa).plan
        PlannedVisit.objects.create(
            organisation=firm.organisation,
            plan=plan,
            key="gone",
            spa=firm.hidden_spa,
            service_minutes=30,
            reason="The site has no position on the map, so no drive to it can be worked out.",
            would_fit_if="its latitude and longitude stood on the site's page",
        )

    page = text_of(sign_in(firm.office).get(f"/rounds/plans/{plan.pk}/"))

    assert "Without a place: 1" in page
    assert "no position on the map" in page
    assert reverse("sites:site_edit", args=[firm.hidden_site.pk]) in page


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("No road leads to Hillside.", "Set the site's position"),
        ("No technician can do indoor plant.", "Give somebody the skill, or change who may go"),
        ("It is pinned to Bea, who lacks the skills or must not serve it.", "Lift the pin, or move it"),
        ("Nobody works on Monday 1 June.", "Enter who works"),
        ("Taken off its round by hand.", "Give it a place"),
    ],
)
def test_each_reason_leads_to_the_page_that_mends_it(db: Any, firm: Firm, reason: str, words: str) -> None:
    row = PlannedVisit(spa=firm.spa, reason=reason)

    assert mend_of(row).words == words


def test_an_empty_week_leads_to_what_is_missing(firm: Firm, sign_in: Any) -> None:
    page = text_of(sign_in(firm.office).get("/rounds/week/"))

    assert "No agreement asks for a visit" in page
    assert reverse("rounds:agreements") in page
    assert "no shifts are entered" in page
    assert "± 45 %" in page


def test_planning_is_asked_for_watched_and_stopped(friday_before: Any, in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.office)

    browser.post(f"{WEEK}build/", {"seconds": "10"})
    run = Run.objects.get(organisation=in_firm.organisation)
    page = text_of(browser.get(WEEK))

    assert run.arguments["seconds"] == 10
    assert "Being planned" in page
    assert "Stop, and keep the best so far" in page
    browser.post(f"{WEEK}stop/")
    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert "stopped before there was anything to keep" in text_of(browser.get(WEEK))


def test_when_the_planning_has_ended_the_page_is_loaded_anew(firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.office).get(f"{WEEK}progress/", headers={"HX-Request": "true"})

    assert answer.headers["HX-Refresh"] == "true"


def test_publishing_says_what_it_does_then_does_it(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    browser, address = sign_in(in_firm.office), f"/rounds/plans/{drafted.pk}/publish/"

    page = text_of(browser.get(address))
    assert "6 visits new, 0 changed, 0 cancelled, 0 as they are" in page
    assert Visit.objects.count() == 0
    browser.post(address, {"revision": drafted.revision})

    assert Visit.objects.filter(state=VisitState.PLANNED).count() == 6
    drafted.refresh_from_db()
    assert drafted.is_published
    gone = text_of(browser.get(f"/rounds/plans/{drafted.pk}/unpublish/"))
    assert "6 visits are cancelled" in gone


def test_what_is_foretold_is_what_publishing_does(drafted: WeekPlan, in_firm: Firm) -> None:
    publish_week(plan=drafted, by=in_firm.office)
    row = first_of(drafted)
    owed = [owed_to(r.spa) for r in drafted.visits.select_related("spa__site__client") if r.pk != row.pk]
    people = [in_firm.technician]
    after = kept(in_firm, inputs_for(in_firm, owed, week_shifts(*people, days=(2, 3))))

    told = foretell_publish(after)
    done = publish_week(plan=after, by=in_firm.office)

    assert len(told.cancelled) >= 1
    assert (len(told.planned), len(told.changed), len(told.cancelled), told.kept) == (
        done.planned,
        done.changed,
        done.cancelled,
        done.kept,
    )


def test_drafts_are_compared_put_aside_and_taken_up(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    browser = sign_in(in_firm.office)
    owed = [owed_to(r.spa) for r in drafted.visits.select_related("spa__site__client")]
    other = kept(in_firm, inputs_for(in_firm, owed, week_shifts(in_firm.technician, days=(3,))))

    page = text_of(browser.get(f"/rounds/plans/{other.pk}/compare/?with={drafted.pk}"))
    assert "Visits elsewhere" in page
    assert "Thursday 4 June" in page

    browser.post(f"/rounds/plans/{drafted.pk}/take-up/")
    drafted.refresh_from_db()
    assert drafted.state == PlanState.DRAFT
    browser.post(f"/rounds/plans/{drafted.pk}/set-aside/", {"revision": drafted.revision})
    drafted.refresh_from_db()
    assert drafted.state == PlanState.SET_ASIDE
    assert "Plans of this week" in text_of(browser.get(WEEK))


def test_a_move_is_told_then_done_and_the_second_person_is_told_of_the_first(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    browser, row = sign_in(in_firm.office), first_of(drafted)
    friday = MONDAY + timedelta(days=4)
    address = f"/rounds/planned-visits/{row.pk}/move/"
    assert row.technician is not None
    chosen = {"technician": row.technician.pk, "day": friday.isoformat(), "place": ""}

    told = text_of(browser.get(address, chosen))
    assert "Move it" in told
    assert "driving" in told
    row.refresh_from_db()
    assert row.day != friday
    pin(planned=row, by=in_firm.owner)
    late = text_of(browser.post(address, {**chosen, "revision": drafted.revision}))
    assert f"{in_firm.owner.name} pinned a visit" in late
    assert f'value="{friday}"' in late
    drafted.refresh_from_db()
    browser.post(address, {**chosen, "revision": drafted.revision})

    row.refresh_from_db()
    assert row.day == friday


def test_a_move_that_cannot_be_done_says_why(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    row, sunday = first_of(drafted), MONDAY + timedelta(days=6)
    assert row.technician is not None

    answer = sign_in(in_firm.office).get(
        f"/rounds/planned-visits/{row.pk}/move/",
        {"technician": row.technician.pk, "day": sunday.isoformat()},
        headers={"HX-Request": "true"},
    )

    assert "does not work on Sunday 7 June" in text_of(answer)
    assert "<html" not in answer.content.decode()


def test_a_visit_is_pinned_taken_off_and_put_back(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    browser, row = sign_in(in_firm.office), first_of(drafted)
    assert row.technician is not None
    where = {"technician": row.technician.pk, "day": str(row.day)}

    browser.post(f"/rounds/planned-visits/{row.pk}/pin/", {"pinned": "1"})
    row.refresh_from_db()
    assert row.pinned
    browser.post(f"/rounds/planned-visits/{row.pk}/take-off/")
    row.refresh_from_db()
    assert row.day is None
    grid = text_of(browser.get(f"/rounds/plans/{drafted.pk}/grid/"))
    assert "Without a place" in grid
    browser.post(f"/rounds/planned-visits/{row.pk}/move/", where)
    row.refresh_from_db()
    assert str(row.day) == where["day"]


def test_the_grid_begins_at_today_and_days_that_are_over_are_a_link_away(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    address = f"/rounds/plans/{drafted.pk}/grid/"
    before = sign_in(in_firm.office).get(address)
    assert (len(before.context["days"]), before.context["days_over"]) == (7, 0)
    with time_machine.travel(BEFORE + timedelta(days=5), tick=False):
        browser = sign_in(in_firm.office)
        today = browser.get(address)
        assert today.context["days"][0] == MONDAY + timedelta(days=2)
        assert "Show the 2 days that are over" in text_of(today)
        whole = browser.get(address, {"past": "1"})
        assert len(whole.context["days"]) == 7
        assert "Begin at today" in text_of(whole)
    with time_machine.travel(BEFORE + timedelta(days=30), tick=False):
        assert len(sign_in(in_firm.office).get(address).context["days"]) == 7


def test_somebody_off_is_noted_and_the_week_asked_for_again(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    publish_week(plan=drafted, by=in_firm.office)
    tuesday = str(MONDAY + timedelta(days=1))
    given = {"person": in_firm.technician.pk, "first_day": tuesday, "last_day": tuesday, "reason": "sick"}
    browser, address = sign_in(in_firm.office), f"/rounds/plans/{drafted.pk}/off/"

    wrong = text_of(browser.post(address, {**given, "last_day": str(MONDAY)}))
    assert "The last day cannot be before the first." in wrong
    answer = browser.post(address, given, follow=True)

    assert DayOff.objects.get().technician == in_firm.technician
    assert "being planned without them" in text_of(answer)


def test_an_urgent_call_finds_the_spa_reads_three_places_and_takes_one(
    drafted: WeekPlan, in_firm: Firm, sign_in: Any
) -> None:
    (spa,) = spas_around(in_firm, 1)
    browser, address = sign_in(in_firm.office), f"/rounds/plans/{drafted.pk}/urgent/"
    asked = {
        "spa": spa.pk,
        "minutes": "30",
        "first_day": str(MONDAY),
        "last_day": str(MONDAY + timedelta(days=4)),
        "opens": "",
        "closes": "",
    }

    assert spa.name in text_of(browser.get(address, {"q": spa.name}))
    page = text_of(browser.get(address, asked))
    assert page.count("Take this one") == 3
    browser.post(
        address,
        {
            **asked,
            "technician": in_firm.technician.pk,
            "day": "1",
            "position": "0",
            "revision": drafted.revision,
        },
    )

    planned = PlannedVisit.objects.get(plan=drafted, spa=spa)
    assert (planned.day, planned.technician) == (MONDAY + timedelta(days=1), in_firm.technician)


def test_todays_page_shows_the_published_times(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        item = planned_round(firm.technician, firm.spa)
        visit = Visit.objects.create(
            organisation=firm.organisation,
            spa=firm.spa,
            technician=firm.technician,
            planned_on=timezone.localdate(),
        )
        PlannedVisit.objects.filter(round=item).update(visit=visit)

    page = text_of(sign_in(firm.technician).get("/visits/today/"))

    assert "30 min, 20.4 km from the start" in page
    assert reverse("reports:round_sheet", args=[item.pk]) in page


def test_a_map_page_lists_the_stops_beside_the_map(drafted: WeekPlan, in_firm: Firm, sign_in: Any) -> None:
    row = first_of(drafted)

    page = text_of(sign_in(in_firm.office).get(f"/rounds/planned-rounds/{row.round_id}/map/"))

    assert row.spa.name in page
    assert page.count("from the start") == 1


def test_the_line_of_a_round_is_drawn_to_scale(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        item = planned_round(firm.technician, firm.spa)
        pieces = hairline(item, list(item.stops.all()), scale=Scale(0, 100 * 60), midnight=item.depart_at)

    assert [(piece.kind, piece.x, piece.width) for piece in pieces] == [
        ("drive", 0, 300),
        ("work", 300, 400),
        ("drive", 700, 300),
    ]
    assert scale_of([]) == Scale(8 * 3600, 17 * 3600)
