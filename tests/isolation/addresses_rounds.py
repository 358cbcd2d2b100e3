"""Addresses of rounds."""

from tests.isolation.address import FIRM, PUBLIC, WORKERS, Address, of_firm, one

ROUNDS: dict[str, Address] = {
    # The roads are everybody's; the name is that of another map than this machine's.
    "rounds:roads_drawing": Address(FIRM, fixed={"name": "other-roads"}, may_be_empty=True),
    "reports:round_sheet": of_firm(WORKERS, pk="planned_round"),
    "reports:my_calendar": one(WORKERS),
    "reports:my_calendar_make": one(WORKERS),
    "reports:my_calendar_revoke": one(WORKERS),
    # Public by its secret; what it gives away, and to whom: tests/reports/test_round_calendar.py.
    "reports:calendar": PUBLIC,
}
