"""Pages of agreements, bookings and the roster."""

from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import ClassVar
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from service.rounds.models import (
    Agreement,
    Booking,
    ChangeoverCalendar,
    DayOff,
    Frequency,
    RoundSettings,
    Shift,
    Skill,
    TechnicianBase,
)
from service.runs.models import Run
from tests.factories import (
    AgreementFactory,
    BookingFactory,
    CalendarFactory,
    DayOffFactory,
    ShiftFactory,
    SkillFactory,
    SpaFactory,
    TechnicianBaseFactory,
)

FIRST = "2027-06-07"
AGREEMENT = {
    "frequency": "times_a_week",
    "times_a_week": "2",
    "weekdays": ["0", "3"],
    "minutes_on_site": "40",
    "starts_on": FIRST,
}


@pytest.fixture
def office(in_firm, sign_in):
    return sign_in(in_firm.office)


def _new(firm):
    return reverse("rounds:agreement_new", args=[firm.spa.pk])


class TestAgreements:
    def test_an_agreement_is_made_on_the_page_of_its_spa(self, in_firm, office):
        page = office.get(reverse("sites:spa", args=[in_firm.spa.pk])).content.decode()
        assert _new(in_firm) in page
        answer = office.post(_new(in_firm), AGREEMENT, follow=True)
        agreement = Agreement.objects.get()
        assert (agreement.how_often, agreement.weekdays) == ("Twice a week", (0, 3))
        assert "twice a week, from Monday 7 June" in answer.content.decode()

    @pytest.mark.parametrize(
        ("fields", "says"),
        [
            ({"times_a_week": ""}, "Say how many visits a week: from 1 to 7."),
            ({"times_a_week": "9"}, "Visits a week must be from 1 to 7."),
            ({"times_a_week": "3"}, "3 visits a week do not fit on 2 allowed days."),
            ({"weekdays": []}, "Allow at least one day of the week."),
            ({"minutes_on_site": "500"}, "Minutes on site must be from 5 to 480 minutes."),
            ({"window_from": "12:00", "window_to": "11:00"}, "The latest time must be after the earliest."),
            ({"season_from": "1 April", "season_to": "10-31"}, "Write month and day as 04-15 for 15 April."),
            ({"season_from": "02-30", "season_to": "10-31"}, "February has 29 days."),
            ({"drop_price": "5"}, "Only a visit that may be dropped has a price for dropping."),
            ({"min_days_between": "4"}, "do not fit on the allowed days"),
        ],
    )
    def test_an_error_stands_at_its_field_and_keeps_what_was_typed(self, office, in_firm, fields, says):
        answer = office.post(_new(in_firm), AGREEMENT | {"instructions": "Long brush"} | fields)
        page = answer.content.decode()
        assert says in page
        assert "Long brush" in page
        assert Agreement.objects.count() == 0

    def test_one_is_changed_with_its_skills_and_people(self, office, in_firm):
        skill = SkillFactory(organisation=in_firm.organisation)
        agreement = AgreementFactory(spa=in_firm.spa, times_a_week=3)
        answer = office.post(
            reverse("rounds:agreement_edit", args=[agreement.pk]),
            AGREEMENT
            | {
                "frequency": "changeover",
                "skills": [str(skill.pk)],
                "not_with": [str(in_firm.owner.pk)],
                "preferred": str(in_firm.technician.pk),
            },
        )
        assert answer.status_code == 302
        agreement.refresh_from_db()
        assert (agreement.frequency, agreement.times_a_week) == (Frequency.CHANGEOVER, None)
        assert list(agreement.skills.all()) == [skill]
        assert list(agreement.not_with.all()) == [in_firm.owner]

    def test_the_form_shows_what_is_agreed(self, office, in_firm):
        agreement = AgreementFactory(
            spa=in_firm.spa, weekdays_allowed=0b0000101, barred=[in_firm.owner], window_from=time(9, 30)
        )
        form = office.get(reverse("rounds:agreement_edit", args=[agreement.pk])).context["form"]
        assert form["weekdays"].value() == [0, 2]
        assert form["not_with"].value() == [in_firm.owner.pk]
        assert form["window_from"].value() == time(9, 30)

    def test_one_is_ended_from_a_day(self, office, in_firm):
        agreement = AgreementFactory(spa=in_firm.spa, starts_on=date(2027, 6, 7))
        url = reverse("rounds:agreement_end", args=[agreement.pk])
        assert "before its first day" in office.post(url, {"ends_on": "2027-06-01"}).content.decode()
        office.post(url, {"ends_on": "2027-07-01"})
        agreement.refresh_from_db()
        assert agreement.ends_on == date(2027, 7, 1)

    def test_the_list_says_what_the_next_four_weeks_owe(self, office, in_firm):
        AgreementFactory(spa=in_firm.spa, times_a_week=2, weekdays_allowed=127)
        today = timezone.localdate()
        every = AgreementFactory(
            spa=in_firm.hidden_spa,
            frequency=Frequency.EVERY_WEEKS,
            every_weeks=2,
            starts_on=today + timedelta(7 - today.weekday()),
        )
        context = office.get(reverse("rounds:agreements")).context
        words = {row.spa: [cell.words for cell in cells] for row, _, cells in context["lines"]}
        assert words[in_firm.spa][1:] == ["2 visits", "2 visits", "2 visits"]
        assert words[every.spa] == ["", "1 visit", "", "1 visit"]

    def test_it_shows_the_days_of_changeovers(self, office, in_firm):
        AgreementFactory(spa=in_firm.spa, frequency=Frequency.CHANGEOVER, weekdays_allowed=127)
        today = timezone.localdate()
        saturday = today + timedelta(12 - today.weekday())
        zone = ZoneInfo(in_firm.organisation.time_zone)
        BookingFactory(
            site=in_firm.site,
            arrives_at=datetime.combine(saturday - timedelta(7), time(16), zone),
            leaves_at=datetime.combine(saturday, time(10), zone),
        )
        ((_, _, cells),) = office.get(reverse("rounds:agreements")).context["lines"]
        assert cells[1].words == f"Sat {saturday.day}"

    @pytest.mark.parametrize(
        ("given", "found"),
        [
            ({}, 2),
            ({"force": "ended"}, 1),
            ({"force": "all"}, 3),
            ({"frequency": "changeover"}, 1),
            ({"q": "zz"}, 0),
        ],
    )
    def test_its_filters_stand_in_the_address(self, office, in_firm, given, found):
        AgreementFactory(spa=in_firm.spa)
        AgreementFactory(spa=in_firm.spa, frequency=Frequency.CHANGEOVER)
        AgreementFactory(spa=in_firm.spa, ends_on=date(2021, 1, 1))
        context = office.get(reverse("rounds:agreements"), given).context
        assert context["listing"].page.paginator.count == found

    @pytest.mark.parametrize(("sort", "found"), [("often", [3, 2]), ("-often", [2, 3])])
    def test_it_sorts_by_how_often_both_ways(self, office, in_firm, sort, found):
        for times in (2, 3):
            AgreementFactory(spa=in_firm.spa, times_a_week=times)
        page = office.get(reverse("rounds:agreements"), {"sort": sort}).context["listing"].page
        assert [row.times_a_week for row in page] == found

    def test_it_takes_twelve_queries_at_most_whatever_the_rows(
        self, office, in_firm, django_assert_max_num_queries
    ):
        in_firm.organisation.guideline_id = "new_york_6_1"
        in_firm.organisation.save()
        for _ in range(12):
            spa = SpaFactory(site=in_firm.site)
            AgreementFactory(spa=spa, needs=[SkillFactory(organisation=in_firm.organisation)])
            AgreementFactory(spa=spa, frequency=Frequency.CHANGEOVER)
        with django_assert_max_num_queries(12):
            office.get(reverse("rounds:agreements"))

    def test_an_empty_list_says_what_to_do_next(self, office):
        assert "No agreements yet" in office.get(reverse("rounds:agreements")).content.decode()

    def test_a_technician_reads_the_list_and_changes_nothing(self, in_firm, sign_in):
        AgreementFactory(spa=in_firm.spa)
        page = sign_in(in_firm.technician).get(reverse("rounds:agreements")).content.decode()
        assert in_firm.spa.name in page
        assert "/end/" not in page


class TestSettingsAndSkills:
    VALUES: ClassVar = {
        "country": "GB",
        "subdivision": "SCT",
        "guests_leave_by": "10:00",
        "guests_arrive_from": "15:00",
        "road_source": "straight_line",
        "road_factor": "1.2",
        "currency": "GBP",
        "price_per_driving_minute": "0.5",
        "price_per_km": "0.3",
        "price_per_overtime_minute": "0.6",
        "price_per_technician_day": "20",
        "price_per_moved_visit": "5",
    }

    def test_the_settings_are_shown_and_saved(self, office):
        url = reverse("rounds:settings")
        assert office.get(url).context["form"]["country"].value() == "GB"
        assert office.post(url, self.VALUES).status_code == 302
        assert RoundSettings.objects.get().subdivision == "SCT"

    @pytest.mark.parametrize(
        ("fields", "says"),
        [
            ({"country": "XX"}, "XX is not a known country"),
            ({"subdivision": "ZZ"}, "ZZ is not a known part of GB. Known: ENG, NIR, SCT, WLS."),
            ({"road_source": "server"}, "Give the address of the routing server"),
            ({"road_factor": "9"}, "Factor on driving times must be from 0.5 to 3."),
        ],
    )
    def test_what_is_not_known_is_told_at_its_field(self, office, fields, says):
        page = office.post(reverse("rounds:settings"), self.VALUES | fields).content.decode()
        assert says in page
        assert RoundSettings.objects.count() == 0

    def test_a_skill_is_added_once(self, office):
        url = reverse("rounds:skills")
        office.post(url, {"name": "Wood tubs"})
        assert "already taken" in office.post(url, {"name": "Wood tubs"}).content.decode()
        assert Skill.objects.count() == 1


class TestCalendars:
    FEED = "https://bookings.example/private-7f3a.ics"

    def test_a_calendar_with_a_feed_is_added_and_read_in_the_background(self, office, in_firm):
        url = reverse("rounds:calendar_new", args=[in_firm.site.pk])
        answer = office.post(url, {"name": "Hillside", "feed_url": self.FEED}, follow=True)
        page = answer.content.decode()
        assert "It is being read now." in page
        assert "7f3a" not in page
        assert Run.objects.get().arguments == {"calendar": str(ChangeoverCalendar.objects.get().pk)}

    def test_an_address_that_cannot_be_fetched_is_told_at_its_field(self, office, in_firm):
        url = reverse("rounds:calendar_new", args=[in_firm.site.pk])
        page = office.post(url, {"name": "X", "feed_url": "ftp://x.example"}).content.decode()
        assert "An address begins with https:// or http://." in page
        assert "ftp://x.example" in page

    def test_a_file_is_read_at_once(self, office, in_firm):
        calendar = CalendarFactory(site=in_firm.site)
        url = reverse("rounds:calendar_upload", args=[calendar.pk])
        day = timezone.localdate() + timedelta(3)
        text = (
            "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nBEGIN:VEVENT\r\nUID:a\r\n"
            f"DTSTART;VALUE=DATE:{day:%Y%m%d}\r\nDTEND;VALUE=DATE:{day + timedelta(4):%Y%m%d}\r\n"
            "END:VEVENT\r\nEND:VCALENDAR\r\n"
        )
        file = BytesIO(text.encode())
        file.name = "bookings.ics"
        page = office.post(url, {"file": file}, follow=True).content.decode()
        assert "1 stays added" in page
        assert f"{day.day} {day:%b %Y} 16:00" in page
        wrong = BytesIO(b"<html>")
        wrong.name = "page.html"
        assert "begins with BEGIN:VCALENDAR" in office.post(url, {"file": wrong}).content.decode()

    def test_the_list_says_how_each_feed_stands_in_few_queries(
        self, office, in_firm, django_assert_max_num_queries
    ):
        for number in range(5):
            CalendarFactory(site=in_firm.site, feed_url=f"{self.FEED}{number}")
        CalendarFactory(site=in_firm.site, error="The server answered 404 Not Found.")
        with django_assert_max_num_queries(12):
            page = office.get(reverse("rounds:calendars")).content.decode()
        assert "▲ The server answered 404 Not Found." in page
        assert "○ Not read yet" in page

    def test_one_is_changed_archived_and_brought_back(self, office, in_firm):
        calendar = CalendarFactory(site=in_firm.site, spa=in_firm.spa)
        edit = reverse("rounds:calendar_edit", args=[calendar.pk])
        assert office.get(edit).context["form"]["spa"].value() == in_firm.spa.pk
        office.post(edit, {"name": "Renamed", "spa": ""})
        office.post(reverse("rounds:calendar_archive", args=[calendar.pk]))
        calendar.refresh_from_db()
        assert (calendar.name, calendar.spa, calendar.archived_at is None) == ("Renamed", None, False)
        office.post(reverse("rounds:calendar_restore", args=[calendar.pk]))
        calendar.refresh_from_db()
        assert calendar.archived_at is None

    def test_reading_one_by_hand_shows_the_run(self, office, in_firm):
        calendar = CalendarFactory(site=in_firm.site, feed_url=self.FEED)
        answer = office.post(reverse("rounds:calendar_fetch", args=[calendar.pk]))
        assert answer.url == reverse("runs:run", args=[Run.objects.get().pk])


class TestBookings:
    VALUES: ClassVar = {
        "arrives_on": "2027-06-05",
        "arrives_time": "16:00",
        "leaves_on": "2027-06-12",
        "leaves_time": "10:00",
        "guests": "6",
    }

    def test_a_booking_is_typed_on_the_clock_of_the_firm(self, office, in_firm):
        office.post(reverse("rounds:booking_new", args=[in_firm.site.pk]), self.VALUES)
        booking = Booking.objects.get()
        assert booking.leaves_at == datetime(2027, 6, 12, 10, tzinfo=ZoneInfo("Europe/London"))
        page = office.get(reverse("rounds:bookings", args=[in_firm.site.pk])).content.decode()
        assert "Sat 12 Jun 2027 10:00" in page
        form = office.get(reverse("rounds:booking_edit", args=[booking.pk])).context["form"]
        assert form["leaves_time"].value() == time(10)

    def test_guests_who_leave_before_they_come_are_told_at_the_day(self, office, in_firm):
        url = reverse("rounds:booking_new", args=[in_firm.site.pk])
        page = office.post(url, self.VALUES | {"leaves_on": "2027-06-01"}).content.decode()
        assert "Guests must leave after they arrive." in page
        assert Booking.objects.count() == 0

    def test_stays_that_overlap_are_said_where_they_are_listed(self, office, in_firm):
        add = reverse("rounds:booking_new", args=[in_firm.site.pk])
        later = {"arrives_on": "2027-06-11", "leaves_on": "2027-06-18"}
        after = {"arrives_on": "2027-06-18", "leaves_on": "2027-06-20"}
        for more in ({}, later, after):
            office.post(add, self.VALUES | more)
        page = office.get(reverse("rounds:bookings", args=[in_firm.site.pk])).content.decode()
        assert page.count("▲ overlaps the stay before") == 1
        assert "no changeover lies between them" in page

    def test_stays_of_a_calendar_that_is_put_away_are_not_listed(self, office, in_firm):
        now = timezone.now()
        away = CalendarFactory(site=in_firm.site, archived_at=now)
        BookingFactory(site=in_firm.site, calendar=away, arrives_at=now, leaves_at=now + timedelta(3))
        page = office.get(reverse("rounds:bookings", args=[in_firm.site.pk])).content.decode()
        assert "None is known." in page

    def test_one_is_changed_and_cancelled_and_one_of_a_calendar_is_not(self, office, in_firm):
        office.post(reverse("rounds:booking_new", args=[in_firm.site.pk]), self.VALUES)
        booking = Booking.objects.get()
        office.post(reverse("rounds:booking_edit", args=[booking.pk]), self.VALUES | {"guests": "4"})
        booking.refresh_from_db()
        assert booking.guests == 4
        assert office.get(reverse("rounds:booking_cancel", args=[booking.pk])).status_code == 200
        office.post(reverse("rounds:booking_cancel", args=[booking.pk]))
        booking.refresh_from_db()
        assert booking.cancelled_at is not None
        now = timezone.now()
        fed = BookingFactory(
            site=in_firm.site,
            calendar=CalendarFactory(site=in_firm.site),
            uid="a",
            arrives_at=now,
            leaves_at=now + timedelta(1),
        )
        page = office.post(reverse("rounds:booking_cancel", args=[fed.pk])).content.decode()
        assert "comes from a calendar" in page


class TestRoster:
    VALUES: ClassVar = {
        "opens_0": "08:00",
        "closes_0": "16:00",
        "start_name": "Yard",
        "start_latitude": "56.1",
        "start_longitude": "-4.6",
        "capacity_kg": "250",
        "break_minutes": "30",
        "break_opens": "12:00",
        "break_closes": "13:30",
        "overtime_minutes": "60",
    }

    def _url(self, firm):
        return reverse("rounds:shifts", args=[firm.technician.pk])

    def test_a_usual_week_is_set_and_shown_again(self, office, in_firm):
        skill = SkillFactory(organisation=in_firm.organisation)
        answer = office.post(self._url(in_firm), self.VALUES | {"skills": [str(skill.pk)]}, follow=True)
        page = answer.content.decode()
        assert "Mon 08:00–16:00" in page
        shift, base = Shift.objects.get(), TechnicianBase.objects.get()
        assert (shift.break_minutes, shift.overtime_minutes, base.capacity_kg) == (30, 60, 250)
        form = office.get(self._url(in_firm)).context["form"]
        assert form["opens_0"].value() == time(8)
        assert form["skills"].value() == [skill.pk]

    def test_a_day_has_a_break_of_its_own_which_the_usual_week_leaves_alone(self, office, in_firm):
        days = {f"{name}_{n}": self.VALUES[f"{name}_0"] for n in range(3) for name in ("opens", "closes")}
        office.post(self._url(in_firm), self.VALUES | days)
        tuesday = reverse("rounds:shift_day", args=[Shift.objects.get(weekday=1).pk])
        own = {"opens": "08:00", "closes": "15:00", "break_minutes": "0", "overtime_minutes": "0"}
        page = office.post(tuesday, own, follow=True).content.decode()
        assert "Tue 08:00–15:00" in page
        assert "(no break)" in page
        form = office.get(self._url(in_firm)).context["form"]
        assert form.groups[1][0] == "Break and overtime, on every day but Tuesday"
        office.post(self._url(in_firm), self.VALUES | days | {"closes_1": "15:00", "break_minutes": "45"})
        assert list(Shift.objects.order_by("weekday").values_list("break_minutes", flat=True)) == [45, 0, 45]

    def test_a_break_that_does_not_fit_its_day_is_told_at_its_field(self, office, in_firm):
        shift = ShiftFactory(technician=in_firm.technician)
        url = reverse("rounds:shift_day", args=[shift.pk])
        own = {"opens": "08:00", "closes": "12:00", "break_minutes": "30", "overtime_minutes": "0"}
        assert "Say between which times" in office.post(url, own).content.decode()
        late = own | {"break_opens": "11:00", "break_closes": "13:00"}
        assert "The break must lie within the shift." in office.post(url, late).content.decode()
        assert "From is missing" in office.post(url, own | {"opens": ""}).content.decode()

    @pytest.mark.parametrize(
        ("fields", "says"),
        [
            ({"closes_0": "07:00"}, "A shift must end after it begins, on the same day."),
            ({"closes_0": ""}, "Say until when Monday lasts, or leave both empty."),
            ({"break_minutes": "120"}, "A break of 120 minutes does not fit into 90 minutes."),
            ({"start_longitude": ""}, "A position needs both: the longitude is missing."),
            ({"capacity_kg": "9000"}, "The van carries must be from 0 to 5,000 kg."),
        ],
    )
    def test_an_error_stands_at_its_field_and_nothing_is_saved(self, office, in_firm, fields, says):
        answer = office.post(self._url(in_firm), self.VALUES | fields)
        assert answer.status_code == 200
        assert says in answer.content.decode()
        assert (Shift.objects.count(), TechnicianBase.objects.count()) == (0, 0)

    def test_days_off_are_added_listed_and_taken_back(self, office, in_firm):
        url = reverse("rounds:day_off_new")
        values = {
            "technician": str(in_firm.technician.pk),
            "first_day": "2027-06-07",
            "last_day": "2027-06-01",
            "reason": "holiday",
        }
        assert "cannot be before the first" in office.post(url, values).content.decode()
        page = office.post(url, values | {"last_day": "2027-06-11"}, follow=True).content.decode()
        assert "Mon 7 Jun 2027 to Fri 11 Jun 2027, holiday" in page
        office.post(reverse("rounds:day_off_remove", args=[DayOff.objects.get().pk]))
        assert DayOff.objects.count() == 0

    def test_the_firm_may_be_closed(self, office):
        office.post(
            reverse("rounds:day_off_new"),
            {"technician": "", "first_day": FIRST, "last_day": FIRST, "reason": "closed"},
        )
        assert DayOff.objects.get().technician is None

    def test_the_roster_takes_few_queries_whatever_its_length(
        self, office, in_firm, django_assert_max_num_queries
    ):
        for person in (in_firm.technician, in_firm.owner, in_firm.office):
            TechnicianBaseFactory(technician=person, can=[SkillFactory(organisation=in_firm.organisation)])
            for day in range(5):
                ShiftFactory(technician=person, weekday=day)
            DayOffFactory(technician=person)
        with django_assert_max_num_queries(12):
            office.get(reverse("rounds:roster"))


def test_another_firms_agreement_is_not_there(office, stranger):
    with scope(organisation=stranger.organisation):
        theirs = AgreementFactory(spa=stranger.spa)
    assert office.get(reverse("rounds:agreement_edit", args=[theirs.pk])).status_code == 404
