"""Addresses of the API: method by method, which roles' tokens may use it."""

from collections.abc import Mapping
from dataclasses import replace

from accounts.roles import Role
from tests.isolation.address import EVERYBODY, Address, one

Methods = Mapping[str, frozenset[Role]]
ALL = frozenset({Role.OFFICE, Role.TECHNICIAN, Role.AUDITOR, Role.RENTAL_MANAGER})
FIRM = ALL - {Role.RENTAL_MANAGER}
OFFICE = frozenset({Role.OFFICE})
WORKERS = frozenset({Role.OFFICE, Role.TECHNICIAN})


def of_client(methods: Methods, **objects: str) -> Address:
    return Address(frozenset().union(*methods.values()), objects, of_a_client=True, api=methods)


def of_firm(methods: Methods, **objects: str) -> Address:
    return Address(frozenset().union(*methods.values()), objects, api=methods)


API: dict[str, Address] = {
    "api:guide": one(EVERYBODY),
    "api:schema": of_firm({"GET": ALL}),
    "api:clients": of_firm({"GET": ALL, "POST": OFFICE}),
    "api:client": of_client({"GET": ALL, "PATCH": OFFICE}, pk="client"),
    "api:client_archive": of_client({"POST": OFFICE}, pk="client"),
    "api:client_restore": of_client({"POST": OFFICE}, pk="client"),
    "api:sites": of_firm({"GET": ALL, "POST": OFFICE}),
    "api:site": of_client({"GET": ALL, "PATCH": OFFICE}, pk="site"),
    "api:site_archive": of_client({"POST": OFFICE}, pk="site"),
    "api:site_restore": of_client({"POST": OFFICE}, pk="site"),
    "api:spas": of_firm({"GET": ALL, "POST": OFFICE}),
    "api:spa": of_client({"GET": ALL, "PATCH": OFFICE}, pk="spa"),
    "api:spa_archive": of_client({"POST": OFFICE}, pk="spa"),
    "api:spa_restore": of_client({"POST": OFFICE}, pk="spa"),
    "api:spa_fitness": of_client({"GET": ALL}, pk="spa"),
    "api:fitness": of_firm({"GET": ALL}),
    "api:products": of_firm({"GET": FIRM, "POST": OFFICE}),
    "api:product": of_firm({"GET": FIRM, "PATCH": OFFICE}, pk="product"),
    "api:product_archive": of_firm({"POST": OFFICE}, pk="product"),
    "api:product_restore": of_firm({"POST": OFFICE}, pk="product"),
    "api:batches": of_firm({"GET": FIRM, "POST": OFFICE}),
    "api:batch": of_firm({"GET": FIRM, "PATCH": OFFICE}, pk="batch"),
    "api:batch_archive": of_firm({"POST": OFFICE}, pk="batch"),
    "api:batch_restore": of_firm({"POST": OFFICE}, pk="batch"),
    "api:instruments": of_firm({"GET": FIRM, "POST": OFFICE}),
    "api:instrument": of_firm({"GET": FIRM, "PATCH": OFFICE}, pk="instrument"),
    "api:instrument_archive": of_firm({"POST": OFFICE}, pk="instrument"),
    "api:instrument_restore": of_firm({"POST": OFFICE}, pk="instrument"),
    "api:agreements": of_firm({"GET": FIRM, "POST": OFFICE}),
    "api:agreement": of_client({"GET": FIRM, "PATCH": OFFICE}, pk="agreement"),
    "api:agreement_end": of_client({"POST": OFFICE}, pk="agreement"),
    "api:bookings": of_firm({"GET": OFFICE, "POST": OFFICE}),
    "api:booking": of_client({"GET": OFFICE, "PATCH": OFFICE}, pk="booking"),
    "api:booking_cancel": of_client({"POST": OFFICE}, pk="booking"),
    "api:weeks": of_firm({"GET": FIRM}),
    "api:week_rounds": of_firm({"GET": FIRM}, pk="week_plan"),
    "api:visits": of_firm({"GET": ALL, "POST": WORKERS}),
    "api:visit": of_client({"GET": ALL, "PATCH": OFFICE}, pk="visit"),
    "api:visit_cancel": of_client({"POST": OFFICE}, pk="visit"),
    "api:visit_start": of_client({"POST": WORKERS}, pk="visit"),
    "api:visit_readings": of_client({"GET": FIRM, "POST": WORKERS}, pk="visit"),
    "api:visit_decisions": of_client({"GET": FIRM, "POST": WORKERS}, pk="visit"),
    "api:closures": of_firm({"GET": ALL}),
    "api:closure": of_client({"GET": ALL}, pk="closure"),
    "api:defects": of_firm({"GET": ALL}),
    "api:defect": of_client({"GET": ALL}, pk="defect"),
    "api:records": of_firm({"GET": ALL}),
    "api:record": of_client({"GET": ALL}, pk="record"),
    # The newest edition of the record's PDF is not made yet: nothing is there to download.
    "api:record_pdf": replace(of_client({"GET": ALL, "POST": ALL}, pk="record"), may_be_empty=True),
    "api:nowhere": Address(frozenset(), fixed={"rest": "nothing/"}, api={}),
}
