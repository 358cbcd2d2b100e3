"""Addresses of the office room."""

from tests.isolation.address import Address

OFFICE_ROOM: dict[str, Address] = {}
