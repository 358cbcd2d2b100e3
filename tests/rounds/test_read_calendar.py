"""Calendars as RFC 5545 writes them. Each example names its section."""

import gzip
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from service.rounds.read_calendar import MOST_BYTES, Clock, NotACalendar, read_calendar

LONDON = ZoneInfo("Europe/London")
NEW_YORK = ZoneInfo("America/New_York")
CLOCK = Clock(LONDON, leave_by=time(10), arrive_from=time(16))
TODAY = date(2027, 6, 7)


def _calendar(*events, more=()):
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Test//EN", *more]
    for event in events:
        lines += ["BEGIN:VEVENT", *event, "END:VEVENT"]
    return "\r\n".join([*lines, "END:VCALENDAR", ""]).encode()


def _event(*lines, uid="a@example.org"):
    return (f"UID:{uid}", "DTSTAMP:20270501T120000Z", *lines)


def _read(*events, clock=CLOCK, today=TODAY, more=()):
    return read_calendar(_calendar(*events, more=more), clock=clock, today=today)


def _times(content, zone=LONDON):
    return [
        (f"{stay.arrives_at.astimezone(zone):%d %H:%M}", f"{stay.leaves_at.astimezone(zone):%d %H:%M}")
        for stay in content.stays
    ]


def test_guests_leave_on_the_day_of_dtend_which_no_longer_belongs_to_the_event():
    # RFC 5545, 3.6.1: "The 'DTEND' property ... specifies the non-inclusive end of the event", with
    # DTSTART;VALUE=DATE:20070628 / DTEND;VALUE=DATE:20070709 for 28 June to 8 July.
    content = _read(
        _event("DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709"), today=date(2007, 6, 20)
    )
    (stay,) = content.stays
    assert stay.arrives_at == datetime(2007, 6, 28, 16, tzinfo=LONDON)
    assert stay.leaves_at == datetime(2007, 7, 9, 10, tzinfo=LONDON)


def test_a_whole_day_without_an_end_lasts_that_day():
    # RFC 5545, 3.6.1: a DATE start without DTEND or DURATION lasts one day.
    assert _times(_read(_event("DTSTART;VALUE=DATE:20270612"))) == [("12 16:00", "13 10:00")]


def test_a_time_of_a_named_zone_is_that_zones():
    # RFC 5545, 3.3.5, form 3: DTSTART;TZID=America/New_York:19970714T133000 is 17:30 UTC.
    content = _read(
        _event(
            "DTSTART;TZID=America/New_York:19970714T133000", "DTEND;TZID=America/New_York:19970715T100000"
        ),
        today=date(1997, 7, 1),
    )
    assert content.stays[0].arrives_at == datetime(1997, 7, 14, 17, 30, tzinfo=UTC)


def test_a_time_in_utc_and_one_that_floats_are_told_apart():
    # RFC 5545, 3.3.5, forms 1 and 2: 19980118T230000 is local wherever it is read; ...Z is UTC.
    content = _read(
        _event("DTSTART:20270611T150000Z", "DTEND:20270612T090000Z", uid="utc"),
        _event("DTSTART:20270618T150000", "DTEND:20270619T090000", uid="floating"),
    )
    assert _times(content) == [("11 16:00", "12 10:00"), ("18 15:00", "19 09:00")]


def test_a_zone_that_the_calendar_itself_describes_is_used():
    # The VTIMEZONE for New York from RFC 5545, 3.6.5, under a name that no list of zones holds.
    zone = (
        "BEGIN:VTIMEZONE",
        "TZID:Our own zone",
        "BEGIN:DAYLIGHT",
        "DTSTART:20070311T020000",
        "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU",
        "TZOFFSETFROM:-0500",
        "TZOFFSETTO:-0400",
        "TZNAME:EDT",
        "END:DAYLIGHT",
        "BEGIN:STANDARD",
        "DTSTART:20071104T020000",
        "RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU",
        "TZOFFSETFROM:-0400",
        "TZOFFSETTO:-0500",
        "TZNAME:EST",
        "END:STANDARD",
        "END:VTIMEZONE",
    )
    content = _read(
        _event("DTSTART;TZID=Our own zone:20270611T160000", "DTEND;TZID=Our own zone:20270612T100000"),
        more=zone,
    )
    assert content.stays[0].arrives_at == datetime(2027, 6, 11, 20, tzinfo=UTC)
    assert content.remarks == []


def test_a_zone_that_nobody_knows_is_read_on_the_clock_of_the_site_and_said():
    content = _read(
        _event("DTSTART;TZID=Nowhere/Town:20270611T160000", "DTEND;TZID=Nowhere/Town:20270612T100000")
    )
    assert _times(content) == [("11 16:00", "12 10:00")]
    assert content.remarks == [
        "The time zone Nowhere/Town is not known: times are read on the clock of the site."
    ]


def test_a_duration_of_days_keeps_the_clock_and_one_of_hours_passes():
    # RFC 5545, 3.3.6: a day of a duration is nominal, an hour exact. In New York clocks go back an
    # hour on 7 November 2027, so that from noon on the 6th P1D ends at 12:00 and PT23H at 10:00.
    day, hours = (
        _read(
            _event("DTSTART;TZID=America/New_York:20271106T120000", f"DURATION:{lasts}"),
            today=date(2027, 11, 1),
        )
        for lasts in ("P1D", "PT23H")
    )
    assert _times(day, NEW_YORK) == [("06 12:00", "07 12:00")]
    assert _times(hours, NEW_YORK) == [("06 12:00", "07 10:00")]


def test_a_daily_rule_with_a_count_gives_the_days_of_the_standards_example():
    # RFC 5545, 3.8.5.3: "Daily for 10 occurrences ==> (1997 9:00 AM EDT) September 2-11".
    content = _read(
        _event("DTSTART;TZID=America/New_York:19970902T090000", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=10"),
        today=date(1997, 9, 1),
    )
    assert [stay.arrives_at for stay in content.stays] == [
        datetime(1997, 9, day, 9, tzinfo=NEW_YORK) for day in range(2, 12)
    ]


def test_a_weekly_rule_until_a_day_keeps_nine_oclock_when_clocks_change():
    # RFC 5545, 3.8.5.3: "Weekly until December 24, 1997": September 2,9,16,23,30; October 7,14,21
    # (EDT); October 28; November 4,11,18,25; December 2,9,16,23 (EST), each at 9:00.
    content = _read(
        _event(
            "DTSTART;TZID=America/New_York:19970902T090000",
            "DURATION:PT1H",
            "RRULE:FREQ=WEEKLY;UNTIL=19971224T000000Z",
        ),
        today=date(1997, 9, 1),
    )
    starts = [stay.arrives_at.astimezone(NEW_YORK) for stay in content.stays]
    first = date(1997, 9, 2)
    assert [start.date() for start in starts] == [first + timedelta(weeks=number) for number in range(17)]
    assert {start.hour for start in starts} == {9}
    assert {start.utcoffset() for start in starts} == {timedelta(hours=-4), timedelta(hours=-5)}


def test_a_rule_of_weekdays_and_every_other_week():
    # RFC 5545, 3.8.5.3: "Every other week on Monday, Wednesday, and Friday until December 24, 1997,
    # starting on Monday, September 1, 1997" begins September 1,3,5,15,17,19,29; October 1,3,13.
    content = _read(
        _event(
            "DTSTART;TZID=America/New_York:19970901T090000",
            "DURATION:PT1H",
            "RRULE:FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        ),
        today=date(1997, 9, 1),
    )
    days = [(stay.arrives_at.month, stay.arrives_at.day) for stay in content.stays]
    assert days[:10] == [
        (9, 1),
        (9, 3),
        (9, 5),
        (9, 15),
        (9, 17),
        (9, 19),
        (9, 29),
        (10, 1),
        (10, 3),
        (10, 13),
    ]
    assert len(days) == 25


def test_a_rule_without_an_end_is_followed_no_further_than_is_kept():
    content = _read(_event("DTSTART;VALUE=DATE:20100102", "DTEND;VALUE=DATE:20100103", "RRULE:FREQ=WEEKLY"))
    assert content.stays[0].leaves_at.date() >= TODAY - timedelta(60)
    assert content.stays[-1].arrives_at.date() <= TODAY + timedelta(540)
    assert len(content.stays) == 86


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=SECONDLY",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;INTERVAL=7;BYDAY=TU",
        "FREQ=YEARLY;BYWEEKNO=53;BYDAY=MO",
        "FREQ=DAILY;BYSETPOS=2",
        "FREQ=MONTHLY;BYMONTHDAY=32",
        "FREQ=YEARLY;BYMONTH=13",
    ],
)
def test_a_rule_that_might_never_come_again_is_not_followed(rule):
    content = _read(_event("DTSTART:20270607T160000Z", "DTEND:20270608T100000Z", f"RRULE:{rule}"))
    assert len(content.stays) == 1
    assert "only its first stay is kept" in content.remarks[0]


@pytest.mark.parametrize(
    ("begins", "rule", "days"),
    [
        (date(1998, 2, 13), "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", ["13 Feb", "13 Mar", "13 Nov"]),
        (
            date(1997, 9, 13),
            "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
            [
                "13 Sep",
                "11 Oct",
                "08 Nov",
                "13 Dec",
                "10 Jan",
                "07 Feb",
                "07 Mar",
                "11 Apr",
                "09 May",
                "13 Jun",
            ],
        ),
        (date(1997, 9, 4), "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", ["04 Sep", "07 Oct", "06 Nov"]),
        (
            date(1997, 9, 29),
            "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
            ["29 Sep", "30 Oct", "27 Nov", "30 Dec", "29 Jan", "26 Feb", "30 Mar"],
        ),
        (
            date(1996, 11, 5),
            "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
            ["05 Nov"],
        ),
        (
            date(1997, 6, 5),
            "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
            [
                "05 Jun",
                "12 Jun",
                "19 Jun",
                "26 Jun",
                "03 Jul",
                "10 Jul",
                "17 Jul",
                "24 Jul",
                "31 Jul",
                "07 Aug",
            ],
        ),
    ],
)
def test_rules_that_narrow_the_days_in_several_ways_give_the_days_of_the_standards_examples(
    begins, rule, days
):
    # RFC 5545, 3.8.5.3: Friday the 13th; the first Saturday that follows the first Sunday; the third
    # instance of Tuesday, Wednesday or Thursday; the second-to-last weekday; election day; summer Thursdays.
    content = _read(
        _event(f"DTSTART;VALUE=DATE:{begins:%Y%m%d}", "DURATION:P1D", f"RRULE:{rule}"), today=begins
    )

    assert content.remarks == []
    assert [f"{stay.arrives_at:%d %b}" for stay in content.stays][: len(days)] == days


def test_more_long_rules_than_a_calendar_of_stays_has_are_left_out_and_said():
    rule = "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13"
    content = _read(
        *(_event("DTSTART;VALUE=DATE:20270813", "DURATION:P1D", rule, uid=f"{n}") for n in range(11))
    )
    assert len({stay.uid for stay in content.stays}) == 10
    assert "More than 10 events with long rules" in content.remarks[0]


def test_a_day_names_the_instance_that_was_to_begin_on_it_not_one_that_was_moved_there():
    daily = ("DTSTART:20270610T090000Z", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=3")
    first = ("RECURRENCE-ID:20270610T090000Z", "DTSTART:20270611T150000Z", "DURATION:PT1H", "SEQUENCE:1")
    second = ("RECURRENCE-ID;VALUE=DATE:20270611", "DTSTART:20270611T200000Z", "DURATION:PT1H", "SEQUENCE:1")
    content = _read(_event(*daily), _event(*first), _event(*second))
    assert [begin for begin, _ in _times(content)] == ["11 16:00", "11 21:00", "12 10:00"]


def test_a_stay_to_the_end_of_time_is_left_out_and_said():
    content = _read(_event("DTSTART;VALUE=DATE:20270612", "DTEND;VALUE=DATE:99991231"))
    assert content.stays == []
    assert "after 2100" in content.remarks[0]


def test_an_event_that_has_repeated_for_too_long_is_left_out_and_said():
    content = _read(_event("DTSTART;VALUE=DATE:19600101", "DURATION:P1D", "RRULE:FREQ=DAILY"))
    assert content.stays == []
    assert "began too long ago" in content.remarks[0]


def test_an_instance_that_begins_at_a_time_may_be_named_by_its_day():
    # RFC 5545, 3.8.4.4 asks for the value type of DTSTART; days all the same: common practice, no source.
    weekly = ("DTSTART;TZID=Europe/London:20270605T003000", "DURATION:P1D", "RRULE:FREQ=WEEKLY;COUNT=3")
    moved = (
        "RECURRENCE-ID;VALUE=DATE:20270612",
        "DTSTART;TZID=Europe/London:20270614T003000",
        "DURATION:P1D",
        "SEQUENCE:1",
    )
    content = _read(_event(*weekly), _event(*moved))
    assert [stay.arrives_at.astimezone(LONDON).day for stay in content.stays] == [5, 14, 19]


def test_an_instance_that_is_excluded_or_moved_follows_its_own_line():
    # RFC 5545, 3.8.5.1 (EXDATE) and 3.8.4.4 (RECURRENCE-ID).
    content = _read(
        _event(
            "DTSTART:20270604T160000",
            "DTEND:20270605T100000",
            "RRULE:FREQ=WEEKLY;COUNT=4",
            "EXDATE:20270618T160000",
        ),
        _event("RECURRENCE-ID:20270611T160000", "DTSTART:20270612T160000", "DTEND:20270613T100000"),
    )
    assert [stay.arrives_at.astimezone(LONDON).day for stay in content.stays] == [4, 12, 25]


def test_of_two_versions_the_higher_sequence_counts_then_the_later_stamp():
    # RFC 5545, 3.8.7.4 and 3.8.7.2.
    content = _read(
        _event("SEQUENCE:2", "DTSTART;VALUE=DATE:20270612", "DTEND;VALUE=DATE:20270614"),
        _event("SEQUENCE:1", "DTSTART;VALUE=DATE:20270619", "DTEND;VALUE=DATE:20270620"),
        ("UID:b", "DTSTAMP:20270502T000000Z", "DTSTART;VALUE=DATE:20270701", "DTEND;VALUE=DATE:20270702"),
        ("UID:b", "DTSTAMP:20270501T000000Z", "DTSTART;VALUE=DATE:20270708", "DTEND;VALUE=DATE:20270709"),
    )
    assert [stay.arrives_at.day for stay in content.stays] == [12, 1]


def test_a_cancelled_event_is_marked_and_so_is_everything_of_a_cancelling_calendar():
    # RFC 5545, 3.8.1.11 (STATUS) and 3.7.2 (METHOD).
    stay = ("DTSTART;VALUE=DATE:20270612", "DTEND;VALUE=DATE:20270614")
    assert _read(_event(*stay, "STATUS:CANCELLED")).stays[0].cancelled
    assert _read(_event(*stay), more=("METHOD:CANCEL",)).stays[0].cancelled
    assert not _read(_event(*stay)).stays[0].cancelled


def test_an_event_without_a_beginning_or_with_its_end_before_it_is_left_out_and_said():
    content = _read(
        _event("DTEND;VALUE=DATE:20270614", uid="no start"),
        _event("DTSTART:20270612T160000Z", "DTEND:20270612T100000Z", uid="backwards"),
        _event("DTSTART:20270612T160000Z", uid="no length"),
    )
    assert content.stays == []
    assert "An event has no beginning and is left out." in content.remarks
    assert "The event of 2027-06-12 does not end after it begins and is left out." in content.remarks


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"<html>Please sign in</html>", "begins with BEGIN:VCALENDAR"),
        (b"", "begins with BEGIN:VCALENDAR"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "cannot be read"),
        (b"BEGIN:VCALENDAR\r\n" + b"x" * MOST_BYTES, "larger than 8 MB"),
    ],
)
def test_what_is_no_calendar_is_refused_in_words(data, says):
    with pytest.raises(NotACalendar, match=says):
        read_calendar(data, clock=CLOCK, today=TODAY)


def test_five_thousand_bookings_are_read():
    def line(number):
        day = TODAY + timedelta(number % 500)
        return _event(
            f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
            f"DTEND;VALUE=DATE:{day + timedelta(2):%Y%m%d}",
            uid=f"stay-{number}",
        )

    assert len(_read(*(line(number) for number in range(5000))).stays) == 5000


def _zone(name, offset):
    """A zone that a calendar describes itself (RFC 5545, 3.6.5), the same all year."""
    inside = ("BEGIN:STANDARD", "DTSTART:19700101T000000", f"TZOFFSETFROM:{offset}", f"TZOFFSETTO:{offset}")
    return ("BEGIN:VTIMEZONE", f"TZID:{name}", *inside, "END:STANDARD", "END:VTIMEZONE")


def test_a_zone_that_one_calendar_describes_is_not_another_calendars():
    # RFC 5545, 3.2.19: a TZID without a solidus is unique within its own calendar only.
    stay = _event("DTSTART;TZID=House:20270612T160000", "DTEND;TZID=House:20270614T100000")
    east = _read(stay, more=_zone("House", "+0500"))
    west = _read(stay, more=_zone("House", "-0300"))
    nobodys = _read(stay)
    hours = [content.stays[0].arrives_at.astimezone(UTC).hour for content in (east, west, nobodys)]
    assert hours == [11, 19, 15]
    assert nobodys.remarks == ["The time zone House is not known: times are read on the clock of the site."]


def test_a_stream_may_hold_several_calendars():
    # RFC 5545, 3.4: "the stream can contain multiple iCalendar objects".
    first = _calendar(_event("DTSTART;VALUE=DATE:20270612", uid="a"))
    second = _calendar(_event("DTSTART;VALUE=DATE:20270619", uid="b"))
    content = read_calendar(first + second, clock=CLOCK, today=TODAY)
    assert [stay.uid for stay in content.stays] == ["a", "b"]


def test_a_packed_file_is_unpacked_and_no_further_than_is_read():
    data = _calendar(_event("DTSTART;VALUE=DATE:20270612"))
    assert len(read_calendar(gzip.compress(data), clock=CLOCK, today=TODAY).stays) == 1
    with pytest.raises(NotACalendar, match="larger than 8 MB"):
        read_calendar(gzip.compress(b"\n" * (MOST_BYTES + 1)), clock=CLOCK, today=TODAY)
    with pytest.raises(NotACalendar, match="cannot be unpacked"):
        read_calendar(b"\x1f\x8b" + data, clock=CLOCK, today=TODAY)


def test_lines_that_are_folded_within_a_letter_or_a_date_are_joined():
    # RFC 5545, 3.1: folding counts octets, so that it may fall into the middle of a letter.
    lines = ("DTSTART;VALUE=DATE:2027\r\n 0612", "DTEND;VALUE=D\r\n\tATE:20270614", "SUMMARY:Z")
    data = _calendar(_event(*lines)).replace(b"SUMMARY:Z", b"SUMMARY:Z\xc3\r\n \xbcrich")
    assert _times(read_calendar(data, clock=CLOCK, today=TODAY)) == [("12 16:00", "14 10:00")]


@pytest.mark.parametrize(
    "lines",
    [
        ("DTSTART:soon", "DTEND;VALUE=DATE:20270614"),
        ("DTSTART;VALUE=DATE:20270612", "DTEND:later"),
        ("DTSTART;VALUE=DATE:20270612", "DURATION:some days"),
        ("DTSTART;VALUE=DATE:20270230",),
        ("DTSTART;VALUE=DATE:99991231",),
        ("RECURRENCE-ID:then", "DTSTART;VALUE=DATE:20270612"),
    ],
)
def test_an_event_that_cannot_be_read_is_left_out_and_the_others_are_kept(lines):
    content = _read(
        _event(*lines, uid="broken"), _event("DTSTART;VALUE=DATE:20270619", "DTEND;VALUE=DATE:20270621")
    )
    assert _times(content) == [("19 16:00", "21 10:00")]
    assert "left out" in content.remarks[0]


@pytest.mark.parametrize("rule", ["FREQ=NEVER", "gibberish", "FREQ=WEEKLY;INTERVAL=0;COUNT=3"])
def test_of_a_rule_that_cannot_be_read_the_first_stay_is_kept_and_it_is_said(rule):
    content = _read(_event("DTSTART;VALUE=DATE:20270612", "DTEND;VALUE=DATE:20270614", f"RRULE:{rule}"))
    assert _times(content) == [("12 16:00", "14 10:00")]
    assert "only its first stay is kept" in content.remarks[0]


def test_dates_without_a_rule_repeat_an_event_too_and_of_a_period_its_beginning():
    # RFC 5545, 3.8.5.2: RDATE may stand alone, and may hold periods.
    days = _read(_event("DTSTART;VALUE=DATE:20270612", "RDATE;VALUE=DATE:20270619,20270626"))
    assert [stay.arrives_at.day for stay in days.stays] == [12, 19, 26]
    times = _read(
        _event(
            "DTSTART:20270612T150000Z",
            "DTEND:20270613T090000Z",
            "RDATE;VALUE=PERIOD:20270619T150000Z/PT18H",
        )
    )
    assert [stay.arrives_at.day for stay in times.stays] == [12, 19]


def test_an_instance_and_all_after_it_are_moved_together():
    # RFC 5545, 3.2.13: RANGE=THISANDFUTURE shifts the later instances as far as the one named.
    content = _read(
        _event("DTSTART;VALUE=DATE:20270605", "DTEND;VALUE=DATE:20270607", "RRULE:FREQ=WEEKLY;COUNT=4"),
        _event(
            "RECURRENCE-ID;RANGE=THISANDFUTURE;VALUE=DATE:20270619",
            "DTSTART;VALUE=DATE:20270620",
            "DTEND;VALUE=DATE:20270623",
        ),
    )
    assert [time[0][:2] + "-" + time[1][:2] for time in _times(content)] == [
        "05-07",
        "12-14",
        "20-23",
        "27-30",
    ]


def test_a_cancelled_series_takes_its_moved_instances_with_it_and_one_instance_only_itself():
    weekly = ("DTSTART;VALUE=DATE:20270605", "DTEND;VALUE=DATE:20270607", "RRULE:FREQ=WEEKLY;COUNT=3")
    moved = ("RECURRENCE-ID;VALUE=DATE:20270612", "DTSTART;VALUE=DATE:20270613")
    gone = _read(_event(*weekly, "STATUS:CANCELLED", "SEQUENCE:1"), _event(*moved))
    assert all(stay.cancelled for stay in gone.stays)
    # RFC 5546, 3.2.5: a cancelled instance may come without its times.
    one = _read(_event(*weekly), _event("RECURRENCE-ID;VALUE=DATE:20270612", "STATUS:CANCELLED"))
    assert [stay.cancelled for stay in one.stays] == [False, True, False]


def test_a_day_that_is_excluded_takes_what_begins_on_it_away():
    content = _read(
        _event(
            "DTSTART;TZID=Europe/London:20270605T160000",
            "DTEND;TZID=Europe/London:20270606T100000",
            "RRULE:FREQ=WEEKLY;COUNT=3",
            "EXDATE;VALUE=DATE:20270612",
        )
    )
    assert [stay.arrives_at.day for stay in content.stays] == [5, 19]


def test_a_calendar_without_events_is_said():
    assert _read().remarks == ["There is no event in it."]


def test_five_thousand_bookings_with_long_descriptions_are_read():
    text = "\r\n ".join(["DESCRIPTION:", *["x" * 70] * 8])
    bookings = (_event("DTSTART;VALUE=DATE:20270612", text, uid=f"stay-{n}") for n in range(5000))
    assert len(_read(*bookings).stays) == 5000
