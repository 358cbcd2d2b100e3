"""Agreements, guests' bookings and published weeks for other programs."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django_scopes import scope

from accounts.roles import Role
from service.rounds.models import Agreement, Booking, PlannedVisit, PlanState
from tests.api.asking import Program, fields_of, problem_of, program
from tests.factories import AgreementFactory, BookingFactory, CalendarFactory, SkillFactory, SpaFactory
from tests.personas import Firm, make_firm
from tests.rounds.planned import planned_round


def weekly(firm: Firm, **more: Any) -> dict[str, Any]:
    return {
        "spa": str(firm.spa.pk),
        "frequency": "times_a_week",
        "times_a_week": 2,
        "starts_on": "2030-01-07",
        **more,
    }


def test_an_agreement_is_made_changed_and_ended(firm: Firm, office: Program) -> None:
    with scope(organisation=firm.organisation):
        SkillFactory(organisation=firm.organisation, name="Wood tubs")
    body = weekly(
        firm,
        weekdays=["MO", "TH"],
        window_from="09:00",
        skills=["Wood tubs"],
        preferred=str(firm.technician.pk),
    )

    made = office.post("agreements/", body)
    path = f"agreements/{made.json()['id']}/"
    changed = office.patch(path, {"frequency": "every_weeks", "every_weeks": 4, "skills": []}).json()
    ended = office.post(f"{path}end/", {"ends_on": "2031-01-31"}).json()

    assert made["Location"] == f"/api/v1/{path}"
    told = made.json()
    assert (told["weekdays"], told["skills"]) == (["MO", "TH"], ["Wood tubs"])
    assert told["preferred"]["name"] == firm.technician.name
    assert (changed["times_a_week"], changed["every_weeks"], changed["skills"]) == (None, 4, [])
    assert changed["weekdays"] == ["MO", "TH"]
    assert ended["ends_on"] == "2031-01-31"
    assert office.get(path).json() == ended


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"times_a_week": 8}, "times_a_week"),
        ({"times_a_week": None}, "times_a_week"),
        ({"weekdays": ["MO"]}, "times_a_week"),
        ({"weekdays": ["XX"]}, "weekdays.0"),
        ({"minutes_on_site": 481}, "minutes_on_site"),
        ({"window_from": "17:00", "window_to": "09:00"}, "window_to"),
        ({"season_from": "02-30", "season_to": "10-31"}, "season_from"),
        ({"skills": ["Rock climbing"]}, "skills"),
        ({"weekdays_allowed": 3}, "weekdays_allowed"),
        ({"every_weeks": 3}, "every_weeks"),
        ({"window_from": "09:00Z"}, "window_from"),
        ({"window_from": "04-15"}, "window_from"),
    ],
)
def test_a_wrong_agreement_is_told_at_its_field(
    firm: Firm, office: Program, more: dict[str, Any], field: str
) -> None:
    assert fields_of(office.post("agreements/", weekly(firm, **more))) == [field]
    with scope(organisation=firm.organisation):
        assert not Agreement.objects.exists()


def test_a_figure_of_another_frequency_is_refused_and_changes_nothing(firm: Firm, office: Program) -> None:
    path = f"agreements/{office.post('agreements/', weekly(firm)).json()['id']}/"

    assert fields_of(office.patch(path, {"every_weeks": 3})) == ["every_weeks"]
    assert fields_of(office.patch(path, {"frequency": "changeover", "times_a_week": 3})) == ["times_a_week"]
    assert office.get(path).json()["times_a_week"] == 2


def test_an_agreement_may_keep_naming_somebody_who_has_left(firm: Firm, office: Program) -> None:
    who = str(firm.technician.pk)
    path = f"agreements/{office.post('agreements/', weekly(firm, not_with=[who])).json()['id']}/"
    firm.technician.is_active = False
    firm.technician.save()

    assert office.patch(path, {"not_with": [who], "minutes_on_site": 50}).json()["minutes_on_site"] == 50
    assert fields_of(office.patch(path, {"preferred": str(firm.auditor.pk)})) == ["preferred"]
    assert office.patch(path, {"ends_on": "2030-06-30"}).json()["ends_on"] == "2030-06-30"
    assert office.patch(path, {"ends_on": None}).json()["ends_on"] is None


@pytest.mark.parametrize(
    ("field", "moment"), [("leaves_at", "9999-12-31T10:00:00Z"), ("arrives_at", "0001-01-01T00:00:00Z")]
)
def test_a_stay_beyond_all_calendars_is_told_at_its_field(
    firm: Firm, office: Program, field: str, moment: str
) -> None:
    stay = {"arrives_at": "2031-06-01T16:00:00Z", "leaves_at": "2031-06-08T10:00:00Z", field: moment}

    assert fields_of(office.post("bookings/", {"site": str(firm.site.pk), **stay})) == [field]


def test_neither_a_spa_nor_a_person_of_another_firm_can_be_named(firm: Firm, office: Program) -> None:
    other = make_firm("Tarn End Tubs")

    assert fields_of(office.post("agreements/", weekly(firm, spa=str(other.spa.pk)))) == ["spa"]
    for field, value in (("preferred", str(other.technician.pk)), ("not_with", [str(other.technician.pk)])):
        assert fields_of(office.post("agreements/", weekly(firm, **{field: value}))) == [field]
    stay = {"arrives_at": "2031-06-01T16:00:00Z", "leaves_at": "2031-06-08T10:00:00Z"}
    assert fields_of(office.post("bookings/", {"site": str(other.site.pk), **stay})) == ["site"]
    assert fields_of(
        office.post("bookings/", {"site": str(firm.site.pk), "spa": str(other.spa.pk), **stay})
    ) == ["spa"]


def test_a_booking_is_entered_changed_and_cancelled_and_says_when_guests_stay(
    firm: Firm, office: Program
) -> None:
    stay = {"arrives_at": "2031-06-01T16:00:00Z", "leaves_at": "2031-06-08T10:00:00Z"}

    made = office.post("bookings/", {"site": str(firm.site.pk), **stay, "reference": "B-17"}).json()
    path = f"bookings/{made['id']}/"
    changed = office.patch(path, {"leaves_at": "2031-06-07T10:00:00Z", "guests": 5}).json()
    turned = office.patch(path, {"leaves_at": "2031-05-07T10:00:00Z"})
    cancelled = office.post(f"{path}cancel/").json()

    assert (made["spa"], made["calendar"], made["reference"]) == (None, None, "B-17")
    assert (changed["leaves_at"], changed["guests"]) == ("2031-06-07T10:00:00Z", 5)
    assert turned.status_code == 400
    assert cancelled["cancelled_at"] is not None
    assert [
        row["id"] for row in office.get("bookings/?leaving_from=2031-06-07T00:00:00Z").json()["items"]
    ] == [made["id"]]
    assert office.get("bookings/?leaving_from=2031-06-08T00:00:00Z").json()["items"] == []


def test_a_booking_of_a_calendar_is_seen_and_left_to_its_calendar(firm: Firm, office: Program) -> None:
    now = timezone.now()
    with scope(organisation=firm.organisation):
        calendar = CalendarFactory(site=firm.site)
        booking = BookingFactory(
            site=firm.site, calendar=calendar, uid="1", arrives_at=now, leaves_at=now + timedelta(days=3)
        )

    assert office.get(f"bookings/{booking.pk}/").json()["calendar"] == str(calendar.pk)
    refused = office.patch(f"bookings/{booking.pk}/", {"guests": 2})
    assert "change it there" in problem_of(refused, 400)["detail"]
    assert office.post(f"bookings/{booking.pk}/cancel/").status_code == 400
    with scope(organisation=firm.organisation):
        assert Booking.objects.get(pk=booking.pk).cancelled_at is None


def test_a_published_week_is_read_round_by_round_and_a_draft_is_not(
    firm: Firm, office: Program, technician: Program
) -> None:
    with scope(organisation=firm.organisation):
        planned = planned_round(firm.technician, firm.spa)
        draft = planned_round(firm.technician, firm.spa, state=PlanState.DRAFT, published_at=None)

    weeks = technician.get("weeks/").json()["items"]
    rounds = technician.get(f"weeks/{planned.plan_id}/rounds/").json()["items"]

    assert [week["id"] for week in weeks] == [str(planned.plan_id)]
    assert [one["technician"]["name"] for one in rounds] == [firm.technician.name]
    assert [stop["spa"] for stop in rounds[0]["stops"]] == [str(firm.spa.pk)]
    for asking in (office, technician):
        problem_of(asking.get(f"weeks/{draft.plan_id}/rounds/"), 404)
    assert technician.get(f"weeks/{planned.plan_id}/rounds/?day=2001-01-01").json()["items"] == []
    assert technician.get(f"weeks/?monday={planned.plan.monday}").json()["items"] == weeks


def test_rounds_and_bookings_ask_the_same_few_queries_whatever_their_number(firm: Firm) -> None:
    now = timezone.now()
    with scope(organisation=firm.organisation):
        planned = planned_round(firm.technician, firm.spa)

    def queries() -> list[int]:
        asking, counts = program(firm, Role.OFFICE), []
        for path in (f"weeks/{planned.plan_id}/rounds/", "bookings/", "agreements/"):
            with CaptureQueriesContext(connection) as captured:
                assert asking.get(path).status_code == 200
            counts.append(len(captured))
        return counts

    def fill(rows: int) -> None:
        with scope(organisation=firm.organisation):
            for _ in range(rows):
                spa = SpaFactory(site=firm.site)
                AgreementFactory(spa=spa)
                BookingFactory(site=firm.site, spa=spa, arrives_at=now, leaves_at=now + timedelta(days=3))
                stop = planned.stops.first()
                stop.pk, stop._state.adding = None, True
                stop.key, stop.spa = f"key of {spa.pk}", spa
                stop.save()

    fill(1)
    few = queries()
    fill(4)

    assert queries() == few
    assert max(few) <= 12
    with scope(organisation=firm.organisation):
        assert PlannedVisit.objects.count() == 6
