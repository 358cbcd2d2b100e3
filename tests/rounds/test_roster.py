"""Who works in a week."""

from datetime import date, time

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from service.rounds.models import Shift
from service.rounds.roster import Place, shifts_in_week
from tests.factories import DayOffFactory, ShiftFactory, SkillFactory, TechnicianBaseFactory

MONDAY = date(2027, 6, 7)


def _works(firm, *weekdays, **shift):
    return [ShiftFactory(technician=firm.technician, weekday=day, **shift) for day in weekdays]


def test_a_week_has_one_shift_for_each_day_of_the_technicians_usual_week(in_firm):
    gas = SkillFactory(organisation=in_firm.organisation, name="Electrician")
    TechnicianBaseFactory(technician=in_firm.technician, capacity_kg=300, can=[gas])
    _works(in_firm, 0, 3, break_opens=time(12), break_closes=time(13), break_minutes=30, overtime_minutes=45)
    shifts, notes = shifts_in_week(in_firm.organisation, MONDAY)
    assert [shift.day for shift in shifts] == [date(2027, 6, 7), date(2027, 6, 10)]
    first = shifts[0]
    assert (first.technician, first.capacity, first.skills) == (in_firm.technician, 300, ("Electrician",))
    assert (first.break_opens, first.break_minutes, first.overtime_minutes) == (time(12), 30, 45)
    assert first.start == first.end == Place("Yard", 56.1, -4.6)
    assert notes == []


def test_a_day_off_takes_the_shift_out_and_is_said_without_the_illness(in_firm):
    TechnicianBaseFactory(technician=in_firm.technician)
    _works(in_firm, 0, 1)
    DayOffFactory(technician=in_firm.technician, first_day=date(2027, 6, 8), reason="sick")
    shifts, notes = shifts_in_week(in_firm.organisation, MONDAY)
    assert [shift.day for shift in shifts] == [MONDAY]
    assert [note.text for note in notes] == [f"{in_firm.technician.name} is off on Tuesday 8 June."]


def test_a_closed_firm_has_no_shifts_and_says_that_nobody_works(in_firm):
    TechnicianBaseFactory(technician=in_firm.technician)
    _works(in_firm, 0)
    DayOffFactory(
        organisation=in_firm.organisation,
        technician=None,
        first_day=MONDAY,
        last_day=date(2027, 6, 13),
        reason="closed",
    )
    shifts, notes = shifts_in_week(in_firm.organisation, MONDAY)
    assert shifts == []
    assert [note.text for note in notes] == [
        "The firm is closed from Monday 7 June to Sunday 13 June.",
        "Nobody works in the week of Monday 7 June.",
    ]


def test_a_technician_without_a_start_is_left_out_and_named(in_firm):
    _works(in_firm, 0)
    shifts, notes = shifts_in_week(in_firm.organisation, MONDAY)
    assert shifts == []
    assert notes[0].subject == in_firm.technician
    assert "where the day begins is not known" in notes[0].text


def test_people_who_no_longer_work_here_have_no_shifts(in_firm):
    TechnicianBaseFactory(technician=in_firm.technician)
    _works(in_firm, 0)
    in_firm.technician.is_active = False
    in_firm.technician.save()
    assert shifts_in_week(in_firm.organisation, MONDAY)[0] == []


def test_the_roster_takes_five_queries_however_many_people_work(in_firm, django_assert_max_num_queries):
    TechnicianBaseFactory(
        technician=in_firm.technician, can=[SkillFactory(organisation=in_firm.organisation)]
    )
    TechnicianBaseFactory(technician=in_firm.office)
    _works(in_firm, 0, 1, 2, 3, 4)
    with django_assert_max_num_queries(5):
        shifts_in_week(in_firm.organisation, MONDAY)


def test_a_week_begins_on_monday(in_firm):
    with pytest.raises(ValueError, match="not a Monday"):
        shifts_in_week(in_firm.organisation, date(2027, 6, 8))


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"closes": time(7)}, "closes"),
        ({"break_minutes": 30}, "break_minutes"),
        ({"break_minutes": 90, "break_opens": time(12), "break_closes": time(13)}, "break_minutes"),
        ({"break_minutes": 30, "break_opens": time(6), "break_closes": time(7)}, "break_minutes"),
    ],
)
def test_a_shift_that_contradicts_itself_is_refused_at_the_field(in_firm, fields, field):
    shift = Shift(organisation=in_firm.organisation, technician=in_firm.technician, weekday=0)
    for name, value in fields.items():
        setattr(shift, name, value)
    with pytest.raises(ValidationError) as refused:
        shift.full_clean()
    assert set(refused.value.message_dict) == {field}


@pytest.mark.parametrize("fields", [{"closes": time(7)}, {"weekday": 7}, {"break_minutes": 30}])
def test_the_database_refuses_the_same(in_firm, fields):
    with pytest.raises(IntegrityError), transaction.atomic():
        ShiftFactory(technician=in_firm.technician, **fields)
