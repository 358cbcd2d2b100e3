"""Addresses of importing."""

from tests.isolation.address import Address

IMPORTING: dict[str, Address] = {}
