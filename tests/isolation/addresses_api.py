"""Addresses of the API."""

from tests.isolation.address import Address

API: dict[str, Address] = {}
