"""Making, changing and ending agreements."""

from datetime import date, time
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.rounds.agree import add_agreement, add_skill, change_agreement, end_agreement
from service.rounds.keep_roster import add_day_off, remove_day_off, set_base, set_shifts
from service.rounds.models import Agreement, DayOff, Frequency, RoundSettings, Shift, TechnicianBase
from service.rounds.models.agreements import weekday_bits
from service.rounds.round_settings import change_round_settings, round_settings
from service.visits.models import Visit
from tests.factories import AgreementFactory, SkillFactory, VisitFactory

FIRST = date(2027, 6, 7)


def _add(firm, **fields):
    values = {"starts_on": FIRST, "times_a_week": 1, "spa": firm.spa, "by": firm.office} | fields
    return add_agreement(**values)


def test_an_agreement_is_added_with_its_skills_and_people_and_its_trail(in_firm):
    skill = SkillFactory(organisation=in_firm.organisation)
    agreement = _add(in_firm, skills=[skill], not_with=[in_firm.owner], preferred=in_firm.technician)
    assert list(agreement.skills.all()) == [skill]
    assert list(agreement.not_with.all()) == [in_firm.owner]
    assert AuditEvent.objects.filter(action="agreement.added", subject_id=agreement.pk).count() == 1


def test_changing_one_leaves_planned_visits_as_they_are(in_firm):
    agreement = _add(in_firm)
    visit = VisitFactory(spa=in_firm.spa, planned_on=FIRST)
    before = Visit.objects.values().get(pk=visit.pk)
    changed = change_agreement(
        agreement=agreement, by=in_firm.office, times_a_week=3, not_with=[in_firm.owner]
    )
    assert changed.how_often == "3 times a week"
    assert Visit.objects.values().get(pk=visit.pk) == before
    details = (
        AuditEvent.objects.filter(action="agreement.changed").order_by("id").values_list("detail", flat=True)
    )
    assert list(details) == [
        {"changed": ["times_a_week"], "times_a_week": [1, 3]},
        {"changed": ["not_with"]},
    ]


def test_ending_one_says_from_which_day(in_firm):
    agreement = _add(in_firm)
    ended = end_agreement(agreement=agreement, last_day=date(2027, 6, 20), by=in_firm.office)
    assert ended.covers(date(2027, 6, 20))
    assert not ended.covers(date(2027, 6, 21))
    with pytest.raises(ValidationError, match="before its first day, Monday 7 June 2027"):
        end_agreement(agreement=agreement, last_day=date(2027, 6, 6), by=in_firm.office)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"times_a_week": 8}, "times_a_week"),
        ({"times_a_week": None}, "times_a_week"),
        ({"times_a_week": 3, "weekdays_allowed": weekday_bits([0, 1])}, "times_a_week"),
        ({"frequency": Frequency.EVERY_WEEKS, "times_a_week": None, "every_weeks": 53}, "every_weeks"),
        ({"weekdays_allowed": 0}, "weekdays_allowed"),
        ({"window_from": time(12), "window_to": time(11)}, "window_to"),
        ({"ends_on": date(2027, 6, 6)}, "ends_on"),
        ({"season_from": "04-01"}, "season_to"),
        ({"season_from": "4-1", "season_to": "10-31"}, "season_from"),
        ({"min_days_between": 5, "max_days_between": 4}, "max_days_between"),
        ({"times_a_week": 3, "min_days_between": 3}, "min_days_between"),
        ({"drop_price": Decimal(5)}, "drop_price"),
        ({"minutes_on_site": 4}, "minutes_on_site"),
        ({"minutes_on_site": 481}, "minutes_on_site"),
    ],
)
def test_what_contradicts_itself_is_refused_at_its_field(in_firm, fields, field):
    with pytest.raises(ValidationError) as refused:
        _add(in_firm, **fields)
    assert field in refused.value.message_dict
    assert Agreement.objects.count() == 0


@pytest.mark.parametrize(
    "fields",
    [
        {"times_a_week": 8},
        {"times_a_week": None},
        {"every_weeks": 2},
        {"weekdays_allowed": 128},
        {"minutes_on_site": 0},
        {"window_from": time(12), "window_to": time(11)},
        {"ends_on": date(2019, 1, 1)},
        {"season_from": "04-01"},
        {"min_days_between": 5, "max_days_between": 4},
        {"drop_price": Decimal(5)},
    ],
)
def test_the_database_refuses_it_too(in_firm, fields):
    with pytest.raises(IntegrityError), transaction.atomic():
        AgreementFactory(spa=in_firm.spa, **fields)


def test_a_preferred_technician_cannot_be_kept_away_too(in_firm):
    with pytest.raises(ValidationError, match="is preferred and cannot be kept away"):
        _add(in_firm, preferred=in_firm.technician, not_with=[in_firm.technician])


def test_an_archived_spa_takes_no_agreement(in_firm):
    in_firm.spa.archived_at = timezone.now()
    in_firm.spa.save()
    with pytest.raises(ValidationError, match="is archived"):
        _add(in_firm)


def test_a_spa_may_have_several_agreements(in_firm):
    _add(in_firm)
    _add(in_firm, frequency=Frequency.CHANGEOVER, times_a_week=None)
    words = {agreement.how_often for agreement in in_firm.spa.agreements.all()}
    assert words == {"Once a week", "At every changeover"}


def test_only_who_plans_visits_may(in_firm):
    agreement = _add(in_firm)
    for attempt in (
        lambda by: _add(in_firm, by=by),
        lambda by: change_agreement(agreement=agreement, by=by, times_a_week=2),
        lambda by: end_agreement(agreement=agreement, last_day=FIRST, by=by),
        lambda by: add_skill(name="X", by=by),
        lambda by: change_round_settings(by=by, currency="EUR"),
        lambda by: set_shifts(technician=in_firm.technician, by=by, shifts={}),
        lambda by: set_base(technician=in_firm.technician, by=by, skills=[], start_name="X"),
        lambda by: add_day_off(technician=None, by=by, first_day=FIRST, last_day=FIRST),
    ):
        for person in (in_firm.technician, in_firm.rental_manager, in_firm.auditor):
            with pytest.raises(NotAllowed):
                attempt(person)


def test_another_firms_spa_technician_and_skill_are_refused(in_firm, stranger):
    with pytest.raises(ValidationError):
        _add(in_firm, spa=stranger.spa)
    with pytest.raises(ValidationError):
        _add(in_firm, preferred=stranger.technician)
    with pytest.raises(ValidationError), transaction.atomic():
        _add(in_firm, not_with=[stranger.technician])


def test_a_skill_stands_once(in_firm):
    add_skill(name="Wood  tubs", by=in_firm.office)
    with pytest.raises(ValidationError, match="already taken"):
        add_skill(name="Wood tubs", by=in_firm.office)


class TestSettings:
    def test_the_defaults_count_until_the_firm_chooses(self, in_firm):
        assert round_settings(in_firm.organisation).country == "GB"
        change_round_settings(by=in_firm.office, country="NZ", subdivision="")
        change_round_settings(by=in_firm.office, currency="NZD")
        assert RoundSettings.objects.count() == 1
        assert round_settings(in_firm.organisation).currency == "NZD"

    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"country": "XX", "subdivision": ""}, "country"),
            ({"country": "gb", "subdivision": ""}, "country"),
            ({"country": "GB", "subdivision": "ZZ"}, "subdivision"),
            ({"road_source": "server"}, "server_url"),
            ({"road_factor": Decimal("0.1")}, "road_factor"),
            ({"currency": "pounds"}, "currency"),
            ({"price_per_km": Decimal(-1)}, "price_per_km"),
        ],
    )
    def test_what_is_not_known_is_refused_at_its_field(self, in_firm, fields, field):
        with pytest.raises(ValidationError) as refused:
            change_round_settings(by=in_firm.office, **fields)
        assert field in refused.value.message_dict


class TestRoster:
    def test_a_usual_week_is_set_changed_and_cleared(self, in_firm):
        day = {"opens": time(8), "closes": time(16)}
        set_shifts(technician=in_firm.technician, by=in_firm.office, shifts={0: day, 1: day})
        longer = {"opens": time(8), "closes": time(17)}
        set_shifts(technician=in_firm.technician, by=in_firm.office, shifts={0: longer, 1: None})
        assert [(shift.weekday, shift.closes) for shift in Shift.objects.all()] == [(0, time(17))]

    def test_a_wrong_day_is_named_and_nothing_of_the_week_is_kept(self, in_firm):
        wrong = {"opens": time(8), "closes": time(7)}
        with pytest.raises(ValidationError) as refused:
            set_shifts(
                technician=in_firm.technician,
                by=in_firm.office,
                shifts={0: {"opens": time(8), "closes": time(16)}, 1: wrong},
            )
        assert list(refused.value.message_dict) == ["1-closes"]
        assert Shift.objects.count() == 0

    def test_a_base_is_set_once_and_changed(self, in_firm):
        skill = SkillFactory(organisation=in_firm.organisation)
        values = {"start_name": "Yard", "start_latitude": Decimal(56), "start_longitude": Decimal(-4)}
        set_base(technician=in_firm.technician, by=in_firm.office, skills=[skill], **values)
        set_base(technician=in_firm.technician, by=in_firm.office, skills=[], start_name="Depot")
        base = TechnicianBase.objects.get()
        assert (base.start_name, list(base.skills.all())) == ("Depot", [])

    def test_half_a_position_is_refused(self, in_firm):
        with pytest.raises(ValidationError, match="the longitude is missing"):
            set_base(
                technician=in_firm.technician,
                by=in_firm.office,
                skills=[],
                start_name="Yard",
                start_latitude=Decimal(56),
            )

    def test_a_day_off_is_added_and_taken_back(self, in_firm):
        day_off = add_day_off(
            technician=in_firm.technician, by=in_firm.office, first_day=FIRST, last_day=FIRST, reason="sick"
        )
        remove_day_off(day_off=day_off, by=in_firm.office)
        assert DayOff.objects.count() == 0
        assert AuditEvent.objects.filter(action="day_off.removed").count() == 1
