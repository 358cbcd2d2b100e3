"""Bookings by hand and from calendars."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.rounds import fetch_calendars
from service.rounds.bookings import (
    add_booking,
    add_calendar,
    archive_calendar,
    ask_fetch,
    cancel_booking,
    change_booking,
    change_calendar,
    take_file,
)
from service.rounds.fetch_calendars import fetch_all_calendars
from service.rounds.fetch_feed import FeedFailed, Fetched
from service.rounds.models import Booking
from service.runs.models import Run, RunState
from service.runs.work import do_run
from tests.factories import BookingFactory, CalendarFactory, SpaFactory

ADDRESS = "https://bookings.example/private-7f3a.ics"
SOON = timezone.localdate() + timedelta(days=10)


def _calendar(*stays):
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Test//EN"]
    for uid, first, last, *more in stays:
        lines += ["BEGIN:VEVENT", f"UID:{uid}", "DTSTAMP:20260101T000000Z", "SUMMARY:A. Guest"]
        lines += [
            f"DTSTART;VALUE=DATE:{first:%Y%m%d}",
            f"DTEND;VALUE=DATE:{last:%Y%m%d}",
            *more,
            "END:VEVENT",
        ]
    return "\r\n".join([*lines, "END:VCALENDAR", ""]).encode()


def _days(offset, nights=3):
    return SOON + timedelta(offset), SOON + timedelta(offset + nights)


@pytest.fixture
def calendar(in_firm):
    return CalendarFactory(site=in_firm.site)


def _take(calendar, firm, *stays):
    return take_file(calendar=calendar, data=_calendar(*stays), by=firm.office)


def test_the_stays_of_a_file_become_bookings_without_the_guests_names(in_firm, calendar):
    taken = _take(calendar, in_firm, ("a", *_days(0)), ("b", *_days(7)))
    assert (taken.added, taken.changed, taken.cancelled) == (2, 0, 0)
    assert [row.uid for row in Booking.objects.all()] == ["a", "b"]
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM rounds_booking")
        assert "Guest" not in str(cursor.fetchall())


def test_reading_the_same_again_changes_nothing(in_firm, calendar):
    _take(calendar, in_firm, ("a", *_days(0)))
    taken = _take(calendar, in_firm, ("a", *_days(0)))
    assert (taken.added, taken.changed, taken.cancelled) == (0, 0, 0)
    assert Booking.objects.count() == 1


def test_a_stay_that_moved_is_moved_and_an_older_version_does_not_move_it_back(in_firm, calendar):
    _take(calendar, in_firm, ("a", *_days(0)))
    assert _take(calendar, in_firm, ("a", *_days(2), "SEQUENCE:1")).changed == 1
    assert Booking.objects.get().arrives_at.date() == SOON + timedelta(2)
    assert _take(calendar, in_firm, ("a", *_days(0), "SEQUENCE:0")).changed == 0
    assert Booking.objects.get().arrives_at.date() == SOON + timedelta(2)


def test_of_two_versions_of_one_number_the_earlier_written_does_not_come_back(in_firm, calendar):
    # RFC 5545, 3.8.7.2: DTSTAMP tells which of two versions was written later.
    written = (
        "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:a\r\nDTSTAMP:{}\r\n{}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    for stamp, day in (("20260102T000000Z", SOON), ("20260101T000000Z", SOON + timedelta(2))):
        data = written.format(stamp, f"DTSTART;VALUE=DATE:{day:%Y%m%d}").encode()
        take_file(calendar=calendar, data=data, by=in_firm.office)
    assert Booking.objects.get().arrives_at.date() == SOON


def test_a_stay_that_vanished_is_cancelled_if_it_was_still_to_come_and_comes_back_with_the_feed(
    in_firm, calendar
):
    past = (SOON - timedelta(20), SOON - timedelta(15))
    _take(calendar, in_firm, ("past", *past), ("a", *_days(0)), ("b", *_days(7)))
    assert _take(calendar, in_firm, ("b", *_days(7))).cancelled == 1
    state = {row.uid: row.cancelled_at is not None for row in Booking.objects.all()}
    assert state == {"past": False, "a": True, "b": False}
    _take(calendar, in_firm, ("a", *_days(0)), ("b", *_days(7)))
    assert Booking.objects.get(uid="a").cancelled_at is None


def test_a_stay_that_says_it_is_cancelled_is(in_firm, calendar):
    _take(calendar, in_firm, ("a", *_days(0)))
    assert _take(calendar, in_firm, ("a", *_days(0), "STATUS:CANCELLED")).cancelled == 1
    assert Booking.objects.get().cancelled_at is not None


def test_whole_days_are_read_by_the_calendars_own_hours(in_firm, calendar):
    calendar.guests_leave_by, calendar.guests_arrive_from = "11:30", "15:00"
    calendar.save()
    calendar.refresh_from_db()
    _take(calendar, in_firm, ("a", date(2026, 12, 1), date(2026, 12, 5)))
    booking = Booking.objects.get()
    assert booking.arrives_at == datetime(2026, 12, 1, 15, tzinfo=UTC)
    assert booking.leaves_at == datetime(2026, 12, 5, 11, 30, tzinfo=UTC)


def test_what_is_no_calendar_is_refused_at_the_file_and_changes_nothing(in_firm, calendar):
    _take(calendar, in_firm, ("a", *_days(0)))
    with pytest.raises(ValidationError) as refused:
        take_file(calendar=calendar, data=b"<html>", by=in_firm.office)
    assert "begins with BEGIN:VCALENDAR" in refused.value.message_dict["file"][0]
    assert Booking.objects.get().cancelled_at is None


def test_five_thousand_stays_take_a_bounded_number_of_queries(
    in_firm, calendar, django_assert_max_num_queries
):
    stays = [(f"stay-{number}", *_days(number % 400)) for number in range(5000)]
    with django_assert_max_num_queries(100):
        assert _take(calendar, in_firm, *stays).added == 5000


class TestFeed:
    @pytest.fixture
    def feed(self, in_firm):
        return add_calendar(site=in_firm.site, name="Hillside", feed_url=ADDRESS, by=in_firm.office)

    def _answer(self, monkeypatch, answer):
        asked = []

        def fetch(url, *, etag=""):
            asked.append((url, etag))
            if isinstance(answer, Exception):
                raise answer
            return answer

        monkeypatch.setattr(fetch_calendars, "fetch", fetch)
        return asked

    def _run(self, run):
        do_run(run.pk, fetch_calendars.take_feed)
        run.refresh_from_db()
        return run

    def test_its_address_is_sealed_in_the_database_and_never_in_the_audit_trail(self, feed):
        with connection.cursor() as cursor:
            cursor.execute("SELECT feed_url FROM rounds_changeovercalendar")
            (stored,) = cursor.fetchone()
        assert "7f3a" not in stored
        feed.refresh_from_db()
        assert feed.feed_url == ADDRESS
        assert "7f3a" not in str(list(AuditEvent.objects.values()))
        assert "7f3a" not in str(list(Run.objects.values()))

    def test_adding_one_asks_for_it_once(self, in_firm, feed):
        first = Run.objects.get()
        assert first.task == "rounds.fetch_calendar"
        assert ask_fetch(calendar=feed, by=in_firm.office) == first

    def test_a_run_takes_its_bookings_and_remembers_its_version(self, feed, monkeypatch):
        asked = self._answer(monkeypatch, Fetched(_calendar(("a", *_days(0))), '"7"'))
        assert self._run(Run.objects.get()).state == RunState.DONE
        feed.refresh_from_db()
        assert (Booking.objects.count(), feed.etag, feed.error) == (1, '"7"', "")
        assert asked == [(ADDRESS, "")]

    def test_what_goes_wrong_stands_at_the_calendar_and_keeps_its_bookings(self, feed, monkeypatch):
        BookingFactory(
            site=feed.site,
            calendar=feed,
            uid="a",
            arrives_at=timezone.now() + timedelta(1),
            leaves_at=timezone.now() + timedelta(2),
        )
        self._answer(monkeypatch, FeedFailed("The server answered 404 Not Found."))
        run = self._run(Run.objects.get())
        feed.refresh_from_db()
        assert (run.state, run.error) == (RunState.FAILED, "The server answered 404 Not Found.")
        assert feed.error == "The server answered 404 Not Found."
        assert Booking.objects.get().cancelled_at is None

    def test_an_unchanged_feed_is_only_noted(self, feed, monkeypatch):
        self._answer(monkeypatch, Fetched(None, '"7"'))
        assert self._run(Run.objects.get()).state == RunState.DONE
        feed.refresh_from_db()
        assert feed.fetched_at is not None

    def test_every_few_hours_each_feed_is_asked_for(self, feed, in_firm):
        Run.objects.all().delete()
        fetch_all_calendars()
        assert Run.objects.count() == 1
        fetch_all_calendars()
        assert Run.objects.count() == 1
        Run.objects.all().delete()
        feed.tried_at = timezone.now()
        feed.save()
        fetch_all_calendars()
        archive_calendar(calendar=feed, by=in_firm.office)
        assert Run.objects.count() == 0

    def test_a_new_address_is_fetched_anew(self, feed, in_firm):
        Run.objects.all().delete()
        change_calendar(calendar=feed, feed_url="https://bookings.example/other.ics", by=in_firm.office)
        assert Run.objects.count() == 1

    def test_an_address_for_calendar_programs_is_fetched_by_https(self, in_firm):
        new = add_calendar(
            site=in_firm.site, name="Hut", feed_url="webcal://example.org/a.ics", by=in_firm.office
        )
        assert new.feed_url == "https://example.org/a.ics"

    def test_an_address_that_cannot_be_fetched_is_refused_at_its_field(self, in_firm):
        with pytest.raises(ValidationError) as refused:
            add_calendar(site=in_firm.site, name="X", feed_url="ftp://a.example", by=in_firm.office)
        assert list(refused.value.message_dict) == ["feed_url"]


class TestByHand:
    def _times(self):
        return {"arrives_at": timezone.now(), "leaves_at": timezone.now() + timedelta(days=3)}

    def test_a_booking_is_added_changed_and_cancelled_with_its_trail(self, in_firm):
        booking = add_booking(site=in_firm.site, by=in_firm.office, guests=6, **self._times())
        change_booking(booking=booking, by=in_firm.office, guests=4)
        cancel_booking(booking=booking, by=in_firm.office)
        cancel_booking(booking=booking, by=in_firm.office)
        actions = AuditEvent.objects.filter(subject_id=booking.pk).order_by("id")
        assert list(actions.values_list("action", flat=True)) == [
            "booking.added",
            "booking.changed",
            "booking.cancelled",
        ]

    def test_a_booking_of_a_calendar_is_changed_in_the_calendar(self, in_firm, calendar):
        booking = BookingFactory(site=in_firm.site, calendar=calendar, uid="a", **self._times())
        with pytest.raises(ValidationError, match="comes from a calendar"):
            change_booking(booking=booking, by=in_firm.office, guests=4)

    def test_a_spa_of_another_site_and_a_stay_that_ends_first_are_refused(self, in_firm):
        now = timezone.now()
        with pytest.raises(ValidationError) as refused:
            add_booking(
                site=in_firm.site, spa=in_firm.hidden_spa, arrives_at=now, leaves_at=now, by=in_firm.office
            )
        assert set(refused.value.message_dict) == {"spa", "leaves_at"}
        with pytest.raises(IntegrityError), transaction.atomic():
            BookingFactory(site=in_firm.site, arrives_at=now, leaves_at=now)

    def test_only_who_plans_visits_may(self, in_firm):
        with pytest.raises(NotAllowed):
            add_booking(site=in_firm.site, by=in_firm.technician, **self._times())

    def test_another_firms_site_is_refused(self, in_firm, stranger):
        with scope(organisation=stranger.organisation):
            theirs = SpaFactory(site=stranger.site)
        with pytest.raises(ValidationError):
            add_booking(site=theirs.site, by=in_firm.office, **self._times())
