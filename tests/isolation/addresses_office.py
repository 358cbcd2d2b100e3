"""Addresses of the office room."""

from tests.isolation.address import EVERYBODY, OFFICE, OWNER, Address, one

OFFICE_ROOM: dict[str, Address] = {
    "office:attention": one(OFFICE),
    "office:setting_up": one(OFFICE),
    "office:trail_file": one(OWNER),
    "office:records_file": one(EVERYBODY),
    "office:change": Address(OFFICE, fixed={"kind": "spas"}),
}
