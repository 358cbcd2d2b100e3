"""Addresses of importing."""

from tests.isolation.address import OFFICE, Address, of_firm, one

IMPORTING: dict[str, Address] = {
    "importing:lists": one(OFFICE),
    "importing:columns": one(OFFICE),
    "importing:template": Address(OFFICE, fixed={"kind": "spa", "form": "csv"}),
    "importing:export": Address(OFFICE, fixed={"kind": "site", "form": "csv"}),
    "importing:list": of_firm(OFFICE, pk="list"),
    "importing:read_again": of_firm(OFFICE, pk="list"),
    "importing:confirm": of_firm(OFFICE, pk="list"),
    "importing:drop": of_firm(OFFICE, pk="list"),
    "importing:take_back": of_firm(OFFICE, pk="list_done"),
}
