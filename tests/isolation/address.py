"""Who may open an address, said independently of the code that guards it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from accounts.roles import Role

OWNER = frozenset({Role.OWNER})
OFFICE = frozenset({Role.OWNER, Role.OFFICE})
WORKERS = OFFICE | {Role.TECHNICIAN}
FIRM = WORKERS | {Role.AUDITOR}
MANAGER = frozenset({Role.RENTAL_MANAGER})
EVERYBODY = frozenset(Role)


@dataclass(frozen=True)
class Address:
    """Who may open an address, and which object each of its arguments names."""

    roles: frozenset[Role]
    objects: Mapping[str, str] = field(default_factory=dict)
    public: bool = False
    of_a_client: bool = False
    fixed: Mapping[str, Any] = field(default_factory=dict)
    # Answers 404 to somebody who may open it, while there is nothing to show.
    may_be_empty: bool = False
    # An address of the API, opened by tokens and never by a session: method -> roles.
    api: Mapping[str, frozenset[Role]] | None = None

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
