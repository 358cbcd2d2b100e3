"""Addresses of rounds."""

from tests.isolation.address import Address

ROUNDS: dict[str, Address] = {}
