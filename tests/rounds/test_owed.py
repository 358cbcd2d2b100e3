"""What agreements owe in a week."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from service.rounds.models import Frequency, RoundSettings
from service.rounds.models.agreements import weekday_bits
from service.rounds.owed import DayWindow, owed_in_week, owed_in_weeks
from service.visits.models import Verdict, VisitState
from tests.factories import (
    AgreementFactory,
    BookingFactory,
    DayOffFactory,
    SkillFactory,
    SpaFactory,
    TechnicianBaseFactory,
    VisitFactory,
)

MONDAY = date(2027, 6, 7)
LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def placed(in_firm):
    """The firm, its site on the map; no guideline asks for anything."""
    in_firm.organisation.guideline_id = "dc_25c"
    in_firm.organisation.save()
    for site in (in_firm.site, in_firm.hidden_site):
        site.latitude, site.longitude = "56.100000", "-4.600000"
        site.save()
    in_firm.spa.refresh_from_db()
    return in_firm


def _owed(firm, monday=MONDAY):
    return owed_in_week(firm.organisation, monday)


def _agreement(firm, **fields):
    days = fields.pop("days", None)
    if days is not None:
        fields["weekdays_allowed"] = weekday_bits(days)
    return AgreementFactory(spa=firm.spa, **fields)


def _changeover(firm, **fields):
    return _agreement(firm, frequency=Frequency.CHANGEOVER, days=fields.pop("days", range(7)), **fields)


def _booked(firm, arrives, leaves, **fields):
    return BookingFactory(
        site=firm.site,
        arrives_at=datetime(*arrives, tzinfo=LONDON),
        leaves_at=datetime(*leaves, tzinfo=LONDON),
        **fields,
    )


def _signed(firm, day, **fields):
    ended = datetime.combine(day, time(10), tzinfo=UTC)
    return VisitFactory(
        spa=firm.spa,
        planned_on=day,
        state=VisitState.SIGNED,
        ended_at=ended,
        verdict=Verdict.FIT_NOW,
        **fields,
    )


def _weekdays(item):
    return [[day.weekday() for day in chosen] for chosen in item.day_choices]


def test_twice_a_week_offers_every_pair_of_allowed_days_that_keeps_its_distance(placed):
    agreement = _agreement(placed, times_a_week=2, days=[0, 1, 3, 4], min_days_between=3)
    week = _owed(placed)
    (item,) = week.owed
    assert _weekdays(item) == [[0, 3], [0, 4], [1, 4]]
    assert (item.why, item.service_minutes, item.windows) == ("Twice a week", 30, ())
    assert item.key == f"{agreement.pk}:2027-06-07"
    assert item.spa.site.client == placed.client
    assert week.notes == []


def test_building_the_week_again_gives_the_same(placed):
    _agreement(placed, times_a_week=2)
    _changeover(placed)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 10))
    assert _owed(placed) == _owed(placed)


def test_the_last_visit_of_the_week_before_keeps_its_distance_too(placed):
    _agreement(placed, times_a_week=1, min_days_between=4)
    _signed(placed, date(2027, 6, 4))
    assert _weekdays(_owed(placed).owed[0]) == [[1], [2], [3], [4]]


def test_a_visit_that_is_signed_or_begun_serves_the_week(placed):
    _agreement(placed, times_a_week=2, days=[0, 2, 4], min_days_between=2)
    _signed(placed, MONDAY)
    assert _weekdays(_owed(placed).owed[0]) == [[2], [4]]
    VisitFactory(spa=placed.spa, planned_on=date(2027, 6, 9), state=VisitState.ON_SITE)
    assert _owed(placed).owed == []


def test_a_call_out_serves_nothing(placed):
    _agreement(placed, times_a_week=1)
    _signed(placed, MONDAY, kind="call_out")
    assert len(_owed(placed).owed) == 1


def test_a_visit_that_is_planned_by_hand_serves_the_week_until_its_day_is_over(placed):
    _agreement(placed, times_a_week=1)
    VisitFactory(spa=placed.spa, planned_on=MONDAY)
    assert _owed(placed).owed == []
    with time_machine.travel(datetime(2027, 6, 8, 12, tzinfo=LONDON), tick=False):
        assert len(_owed(placed).owed) == 1


def test_every_third_week_is_counted_from_the_week_it_starts_in(placed):
    _agreement(placed, frequency=Frequency.EVERY_WEEKS, every_weeks=3, starts_on=date(2027, 6, 9))
    weeks = owed_in_weeks(placed.organisation, MONDAY, weeks=7)
    assert [len(week.owed) for week in weeks] == [1, 0, 0, 1, 0, 0, 1]
    assert weeks[0].owed[0].why == "Every 3 weeks"
    assert _weekdays(weeks[0].owed[0]) == [[2], [3], [4]]


def test_one_that_starts_after_the_last_of_its_days_is_counted_from_the_week_after(placed):
    saturday = MONDAY + timedelta(5)
    _agreement(placed, frequency=Frequency.EVERY_WEEKS, every_weeks=2, starts_on=saturday)
    weeks = owed_in_weeks(placed.organisation, MONDAY, weeks=4)
    assert [len(week.owed) for week in weeks] == [0, 1, 0, 1]


def test_a_third_week_that_went_by_without_a_visit_is_made_good_in_the_week_that_runs(placed, monkeypatch):
    _agreement(placed, frequency=Frequency.EVERY_WEEKS, every_weeks=3, starts_on=MONDAY)
    monkeypatch.setattr("service.rounds.owed_facts.today_at", lambda _: date(2027, 6, 14))
    assert len(_owed(placed, date(2027, 6, 14)).owed) == 1
    _signed(placed, date(2027, 6, 8))
    assert _owed(placed, date(2027, 6, 14)).owed == []


def test_a_week_that_the_agreement_begins_in_owes_its_share(placed):
    _agreement(placed, times_a_week=4, starts_on=date(2027, 6, 10))
    (item,) = _owed(placed).owed
    assert _weekdays(item) == [[3, 4]]


def test_outside_its_season_and_after_its_end_nothing_is_owed_and_nothing_said(placed):
    _agreement(placed, season_from="10-01", season_to="04-30")
    _agreement(placed, ends_on=date(2027, 6, 6))
    week = _owed(placed)
    assert (week.owed, week.notes) == ([], [])


def test_a_season_may_wrap_the_year(placed):
    agreement = _agreement(placed, season_from="10-01", season_to="04-30")
    assert agreement.is_in_season(date(2027, 1, 1))
    assert agreement.is_in_season(date(2027, 10, 1))
    assert agreement.is_in_season(date(2027, 4, 30))
    assert not agreement.is_in_season(date(2027, 5, 1))
    assert not agreement.is_in_season(date(2027, 9, 30))


def test_visits_move_off_a_public_holiday_and_the_week_says_so(placed):
    # The summer bank holiday of England is the last Monday of August (Banking and Financial Dealings
    # Act 1971, Schedule 1, paragraph 1): 30 August 2027. Scotland's is the first Monday.
    _agreement(placed, days=[0, 1])
    week = _owed(placed, date(2027, 8, 30))
    assert _weekdays(week.owed[0]) == [[1]]
    assert week.notes[0].subject is None
    assert week.notes[0].text.startswith("Monday 30 August is ")
    assert week.notes[0].text.endswith("1 spa's visits are moved off it.")
    RoundSettings.objects.create(organisation=placed.organisation, country="GB", subdivision="SCT")
    scotland = _owed(placed, date(2027, 8, 30))
    assert (_weekdays(scotland.owed[0]), scotland.notes) == ([[0], [1]], [])


def test_an_agreement_may_work_on_public_holidays(placed):
    _agreement(placed, days=[0], avoid_public_holidays=False)
    week = _owed(placed, date(2027, 8, 30))
    assert (_weekdays(week.owed[0]), week.notes) == ([[0]], [])


def test_when_no_allowed_day_is_left_it_is_left_out_and_every_day_says_why(placed):
    _agreement(placed, days=[0, 1])
    DayOffFactory(
        organisation=placed.organisation, technician=None, first_day=date(2027, 8, 31), reason="closed"
    )
    week = _owed(placed, date(2027, 8, 30))
    assert week.owed == []
    text = week.notes[-1].text
    assert week.notes[-1].subject == placed.spa
    assert "left out, no allowed day is left; Monday: " in text
    assert text.endswith("and Tuesday: the firm is closed.")


def test_what_the_days_do_not_hold_is_owed_less_and_said(placed):
    _agreement(placed, times_a_week=2, days=[0, 1])
    week = _owed(placed, date(2027, 8, 30))
    assert _weekdays(week.owed[0]) == [[1]]
    assert "twice a week: only once in this week, Monday: " in week.notes[-1].text


def test_the_agreed_window_holds_on_every_day(placed):
    _agreement(placed, window_from=time(9), window_to=time(11, 30))
    assert _owed(placed).owed[0].windows == (DayWindow(None, time(9), time(11, 30)),)


def test_a_changeover_is_served_between_the_guests(placed):
    agreement = _changeover(placed, minutes_on_site=45)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 10))
    _booked(placed, (2027, 6, 12, 16), (2027, 6, 19, 10))
    (item,) = _owed(placed).owed
    saturday = date(2027, 6, 12)
    assert item.why == "Changeover on Saturday 12 June"
    assert item.day_choices == ((saturday,),)
    # The next guests come at 16:00; 45 minutes of work start at 15:15 at the latest.
    assert item.windows == (DayWindow(None, time(10), time(15, 15)),)
    assert item.changeover_days == {saturday}
    assert item.key == f"{agreement.pk}:2027-06-07:2027-06-12"


def test_times_are_read_on_the_clock_of_the_site(placed):
    placed.organisation.time_zone = "Pacific/Auckland"
    placed.organisation.save()
    _changeover(placed)
    # 22:00 UTC on Friday is 10:00 on Saturday in Auckland, which is 12 h ahead in June.
    for arrives, leaves in (((2027, 6, 5), (2027, 6, 11)), ((2027, 6, 12), (2027, 6, 19))):
        BookingFactory(
            site=placed.site,
            arrives_at=datetime(*arrives, 4, tzinfo=UTC),
            leaves_at=datetime(*leaves, 22, tzinfo=UTC),
        )
    (item,) = _owed(placed).owed
    assert item.why == "Changeover on Saturday 12 June"
    assert item.windows == (DayWindow(None, time(10), time(15, 30)),)


def test_a_gap_of_some_days_offers_each_of_them_with_its_own_window(placed):
    _changeover(placed)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 9, 10))
    _booked(placed, (2027, 6, 11, 15), (2027, 6, 19, 10))
    (item,) = _owed(placed).owed
    assert item.why == "Changeover on Wednesday 9 June"
    assert _weekdays(item) == [[2], [3], [4]]
    assert item.windows == (
        DayWindow(date(2027, 6, 9), time(10), time(23, 59)),
        DayWindow(date(2027, 6, 10), time(0), time(23, 59)),
        DayWindow(date(2027, 6, 11), time(0), time(14, 30)),
    )


def test_guests_who_leave_on_a_day_nobody_goes_are_followed_in_the_next_week(placed):
    _changeover(placed, days=range(5))
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 10))
    _booked(placed, (2027, 6, 15, 16), (2027, 6, 19, 10))
    assert _owed(placed).owed == []
    (item,) = _owed(placed, date(2027, 6, 14)).owed
    assert (item.why, _weekdays(item)) == ("Changeover on Saturday 12 June", [[0], [1]])


def test_too_little_time_between_guests_is_said(placed):
    _changeover(placed, minutes_on_site=45)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 12))
    _booked(placed, (2027, 6, 12, 12, 30), (2027, 6, 19, 10))
    week = _owed(placed)
    assert week.owed == []
    assert "less than 45 minutes between the guests" in week.notes[0].text


def test_a_changeover_that_was_served_is_owed_no_more(placed):
    _changeover(placed)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 10))
    _signed(placed, date(2027, 6, 12))
    assert _owed(placed).owed == []


def test_while_guests_stay_a_regular_visit_keeps_out_unless_it_is_agreed(placed):
    _booked(placed, (2027, 6, 8, 16), (2027, 6, 11, 10))
    closed_to_us = _agreement(placed)
    (item,) = _owed(placed).owed
    assert _weekdays(item) == [[0], [1], [4]]
    assert DayWindow(date(2027, 6, 11), time(10), time(23, 59)) in item.windows
    closed_to_us.while_guests_stay = True
    closed_to_us.save()
    assert _weekdays(_owed(placed).owed[0]) == [[0], [1], [2], [3], [4]]


def test_a_booking_of_another_spa_or_one_that_is_cancelled_closes_nothing(placed):
    _agreement(placed)
    other = SpaFactory(site=placed.site)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 19, 10), spa=other)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 19, 10), cancelled_at=datetime(2027, 6, 1, tzinfo=UTC))
    assert len(_weekdays(_owed(placed).owed[0])) == 5


def test_overlapping_bookings_are_one_stay_and_are_said(placed):
    _changeover(placed)
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 10, 10))
    _booked(placed, (2027, 6, 9, 16), (2027, 6, 12, 10))
    week = _owed(placed)
    assert [item.why for item in week.owed] == ["Changeover on Saturday 12 June"]
    assert "two bookings overlap, one until Thursday 10 June" in week.notes[0].text


def test_a_spa_with_two_agreements_is_not_visited_twice_on_one_day(placed):
    _changeover(placed)
    _agreement(placed, days=[4, 5])
    _booked(placed, (2027, 6, 12, 16), (2027, 6, 19, 10))
    _booked(placed, (2027, 6, 5, 16), (2027, 6, 12, 10))
    week = _owed(placed)
    assert [item.why for item in week.owed] == ["Changeover on Saturday 12 June"]
    assert "no day is left beside the visit on Saturday 12 June" in week.notes[0].text


def test_a_spa_without_a_position_and_one_that_is_archived_are_left_out_and_named(placed):
    unplaced = SpaFactory(site__client=placed.client, name="Lost tub")
    AgreementFactory(spa=unplaced)
    archived = SpaFactory(site=placed.site, archived_at=datetime(2027, 1, 1, tzinfo=UTC), name="Old tub")
    AgreementFactory(spa=archived)
    week = _owed(placed)
    assert week.owed == []
    said = {note.subject: note.text for note in week.notes}
    assert "the position of its site is not known" in said[unplaced]
    assert "The spa Old tub is archived." in said[archived]


def test_a_skill_that_nobody_has_is_said_and_one_that_somebody_has_is_asked_for(placed):
    skill = SkillFactory(organisation=placed.organisation, name="Wood tubs")
    _agreement(placed, needs=[skill])
    week = _owed(placed)
    assert week.owed == []
    assert "it needs Wood tubs and nobody has it" in week.notes[0].text
    TechnicianBaseFactory(technician=placed.technician, can=[skill])
    assert _owed(placed).owed[0].needs == ("Wood tubs",)


def test_the_people_of_the_agreement_are_handed_on(placed):
    agreement = _agreement(placed, preferred=placed.technician, barred=[placed.office], optional=True)
    (item,) = _owed(placed).owed
    assert (item.preferred, item.not_with, item.optional) == (placed.technician, (placed.office,), True)
    assert item.agreement == agreement


def test_days_that_are_over_are_not_offered_in_the_week_that_runs(placed, monkeypatch):
    monkeypatch.setattr("service.rounds.owed_facts.today_at", lambda _: date(2027, 6, 9))
    _agreement(placed)
    assert _weekdays(_owed(placed).owed[0]) == [[2], [3], [4]]


def test_too_long_since_the_last_visit_takes_the_earliest_day_and_says_so(placed):
    agreement = _agreement(placed, days=[1, 3], max_days_between=9)
    _signed(placed, date(2027, 5, 31))
    week = _owed(placed)
    assert (_weekdays(week.owed[0]), week.notes) == ([[1]], [])
    agreement.max_days_between = 7
    agreement.save()
    late = _owed(placed)
    assert _weekdays(late.owed[0]) == [[1]]
    assert "at most 7 days are agreed and cannot be kept" in late.notes[0].text


class TestGuidelineMinimum:
    """HSG282 (2017), domestic-type table, second-hand: a let's spa is drained between groups or weekly."""

    @pytest.fixture
    def let(self, placed):
        placed.organisation.guideline_id = "uk_hsg282"
        placed.organisation.save()
        return placed

    def test_a_visit_every_second_week_is_fewer_than_the_guideline_asks(self, let):
        _agreement(let, frequency=Frequency.EVERY_WEEKS, every_weeks=2, starts_on=MONDAY)
        assert _owed(let).notes == []
        (note,) = _owed(let, MONDAY + timedelta(7)).notes
        assert note.subject == let.spa
        assert "1 in this week, while no visit is owed or done" in note.text
        assert "HSG282 (2017), domestic-type table" in note.text
        assert "Second-hand. Check the document." in note.text

    def test_two_changes_of_guests_in_a_week_ask_for_two_visits(self, let):
        _agreement(let, times_a_week=1)
        for arrives, leaves in ((5, 8), (8, 11), (11, 19)):
            _booked(let, (2027, 6, arrives, 16), (2027, 6, leaves, 10))
        assert "2 in this week, while 1 visit is owed or done" in _owed(let).notes[0].text

    def test_an_agreement_that_follows_every_changeover_is_enough(self, let):
        _changeover(let)
        for arrives, leaves in ((5, 8), (8, 11), (11, 19)):
            _booked(let, (2027, 6, arrives, 16), (2027, 6, leaves, 10))
        week = _owed(let)
        assert (len(week.owed), week.notes) == (2, [])


def test_what_is_owed_takes_the_same_queries_for_any_number_of_spas(placed, django_assert_max_num_queries):
    skill = SkillFactory(organisation=placed.organisation)
    TechnicianBaseFactory(technician=placed.technician, can=[skill])
    for _ in range(5):
        spa = SpaFactory(site=placed.site)
        AgreementFactory(spa=spa, needs=[skill], barred=[placed.office])
        AgreementFactory(spa=spa, frequency=Frequency.CHANGEOVER)
    with django_assert_max_num_queries(11):
        owed_in_weeks(placed.organisation, MONDAY, weeks=4)


def test_another_firms_agreements_are_not_owed_here(placed, stranger):
    AgreementFactory(spa=placed.spa)
    assert len(_owed(placed).owed) == 1
    assert owed_in_week(stranger.organisation, MONDAY).owed == []


def test_a_week_begins_on_monday(placed):
    with pytest.raises(ValueError, match="not a Monday"):
        owed_in_week(placed.organisation, date(2027, 6, 8))
