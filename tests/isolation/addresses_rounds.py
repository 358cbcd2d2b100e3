"""Addresses of rounds."""

from tests.isolation.address import FIRM, OFFICE, PUBLIC, WORKERS, Address, of_client, of_firm, one

ROUNDS: dict[str, Address] = {
    # The roads are everybody's; the name is that of another map than this machine's.
    "rounds:roads_drawing": Address(FIRM, fixed={"name": "other-roads"}, may_be_empty=True),
    "reports:round_sheet": of_firm(WORKERS, pk="planned_round"),
    "reports:my_calendar": one(WORKERS),
    "reports:my_calendar_make": one(WORKERS),
    "reports:my_calendar_revoke": one(WORKERS),
    # Public by its secret; what it gives away, and to whom: tests/reports/test_round_calendar.py.
    "reports:calendar": PUBLIC,
    "rounds:agreements": one(FIRM),
    "rounds:agreement_new": of_client(OFFICE, pk="spa"),
    "rounds:agreement_edit": of_client(OFFICE, pk="agreement"),
    "rounds:agreement_end": of_client(OFFICE, pk="agreement"),
    "rounds:settings": one(OFFICE),
    "rounds:skills": one(OFFICE),
    "rounds:calendars": one(OFFICE),
    "rounds:calendar_new": of_client(OFFICE, pk="site"),
    "rounds:calendar": of_client(OFFICE, pk="calendar"),
    "rounds:calendar_edit": of_client(OFFICE, pk="calendar"),
    "rounds:calendar_fetch": of_client(OFFICE, pk="calendar"),
    "rounds:calendar_upload": of_client(OFFICE, pk="calendar"),
    "rounds:calendar_archive": of_client(OFFICE, pk="calendar"),
    "rounds:calendar_restore": of_client(OFFICE, pk="calendar"),
    "rounds:bookings": of_client(OFFICE, pk="site"),
    "rounds:booking_new": of_client(OFFICE, pk="site"),
    "rounds:booking_edit": of_client(OFFICE, pk="booking"),
    "rounds:booking_cancel": of_client(OFFICE, pk="booking"),
    "rounds:roster": one(OFFICE),
    "rounds:shifts": of_firm(OFFICE, pk="person"),
    "rounds:day_off_new": one(OFFICE),
    "rounds:day_off_remove": of_firm(OFFICE, pk="day_off"),
}
