"""Who may open which address, said independently of the code that guards it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from accounts.roles import Role

OWNER = frozenset({Role.OWNER})
OFFICE = frozenset({Role.OWNER, Role.OFFICE})
WORKERS = OFFICE | {Role.TECHNICIAN}
FIRM = WORKERS | {Role.AUDITOR}
EVERYBODY = frozenset(Role)


@dataclass(frozen=True)
class Address:
    """Who may open an address, and which object each of its arguments names."""

    roles: frozenset[Role]
    objects: Mapping[str, str] = field(default_factory=dict)
    public: bool = False
    of_a_client: bool = False
    fixed: Mapping[str, Any] = field(default_factory=dict)

    def arguments(self, objects: Mapping[str, Any]) -> dict[str, Any]:
        return {**self.fixed, **{name: objects[key].pk for name, key in self.objects.items()}}


def of_client(roles: frozenset[Role], **objects: str) -> Address:
    """An address about one client's things: a rental manager reaches only their own clients'."""
    return Address(roles, objects, of_a_client=True)


def of_firm(roles: frozenset[Role], **objects: str) -> Address:
    """An address about the firm's own things."""
    return Address(roles, objects)


def one(roles: frozenset[Role]) -> Address:
    """An address without an object."""
    return Address(roles)


PUBLIC = Address(frozenset(), public=True)

ADDRESSES: dict[str, Address] = {
    "home": one(EVERYBODY),
    "health": PUBLIC,
    "runs:run": of_client(EVERYBODY, pk="run"),
    "runs:cancel": of_client(EVERYBODY, pk="run"),
    "sites:search": one(EVERYBODY),
    "sites:clients": one(EVERYBODY),
    "sites:client_new": one(OFFICE),
    "sites:client": of_client(EVERYBODY, pk="client"),
    "sites:client_edit": of_client(OFFICE, pk="client"),
    "sites:client_archive": of_client(OFFICE, pk="client"),
    "sites:client_restore": of_client(OFFICE, pk="client"),
    "sites:client_guideline": of_client(OFFICE, pk="client"),
    "sites:client_access_grant": of_client(OWNER, pk="client"),
    "sites:client_access_withdraw": of_client(OWNER, pk="client", access_pk="access"),
    "sites:site_new": of_client(OFFICE, pk="client"),
    "sites:sites": one(EVERYBODY),
    "sites:site": of_client(EVERYBODY, pk="site"),
    "sites:site_edit": of_client(OFFICE, pk="site"),
    "sites:site_archive": of_client(OFFICE, pk="site"),
    "sites:site_restore": of_client(OFFICE, pk="site"),
    "sites:site_guideline": of_client(OFFICE, pk="site"),
    "sites:site_supply_water": of_client(OFFICE, pk="site"),
    "sites:spa_new": of_client(OFFICE, pk="site"),
    "sites:spas": one(EVERYBODY),
    "sites:spa": of_client(EVERYBODY, pk="spa"),
    "sites:spa_edit": of_client(OFFICE, pk="spa"),
    "sites:spa_archive": of_client(OFFICE, pk="spa"),
    "sites:spa_restore": of_client(OFFICE, pk="spa"),
    "sites:spa_guideline": of_client(OFFICE, pk="spa"),
    "sites:spa_photos": of_client(OFFICE, pk="spa"),
    "sites:spa_photo": of_client(EVERYBODY, pk="spa", photo_pk="spa_photo"),
    "sites:spa_photo_caption": of_client(OFFICE, pk="spa", photo_pk="spa_photo"),
    "sites:spa_photo_remove": of_client(OFFICE, pk="spa", photo_pk="spa_photo"),
    "stock:products": one(FIRM),
    "stock:product_new": one(OFFICE),
    "stock:product": of_firm(FIRM, pk="product"),
    "stock:product_edit": of_firm(OFFICE, pk="product"),
    "stock:product_archive": of_firm(OFFICE, pk="product"),
    "stock:product_restore": of_firm(OFFICE, pk="product"),
    "stock:batch_new": of_firm(OFFICE, pk="product"),
    "stock:batch_edit": of_firm(OFFICE, pk="batch"),
    "stock:batch_archive": of_firm(OFFICE, pk="batch"),
    "stock:batch_restore": of_firm(OFFICE, pk="batch"),
    "stock:instruments": one(FIRM),
    "stock:instrument_new": one(OFFICE),
    "stock:instrument_edit": of_firm(OFFICE, pk="instrument"),
    "stock:instrument_archive": of_firm(OFFICE, pk="instrument"),
    "stock:instrument_restore": of_firm(OFFICE, pk="instrument"),
    "stock:site_products": of_client(OFFICE, pk="site"),
    "stock:site_product_remove": of_client(OFFICE, pk="site", kept_pk="kept"),
}
