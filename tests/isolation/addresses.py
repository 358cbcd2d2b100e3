"""Who may open which address, said independently of the code that guards it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
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
    "runs:run": of_firm(OFFICE, pk="run"),
    "runs:cancel": of_firm(OFFICE, pk="run"),
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
    # Signing in, and one's own account: no object of a firm is named.
    "account_login": PUBLIC,
    "mfa_authenticate": PUBLIC,
    "mfa_login_webauthn": PUBLIC,
    "account_logout": PUBLIC,
    "account_inactive": PUBLIC,
    "account_reset_password": PUBLIC,
    "account_reset_password_done": PUBLIC,
    "account_reset_password_from_key": PUBLIC,
    "account_reset_password_from_key_done": PUBLIC,
    "accounts:accept_invitation": PUBLIC,
    "accounts:open_invitation": PUBLIC,
    "account_reauthenticate": one(EVERYBODY),
    "mfa_reauthenticate": one(EVERYBODY),
    "mfa_reauthenticate_webauthn": one(EVERYBODY),
    "account_change_password": one(EVERYBODY),
    "mfa_index": one(EVERYBODY),
    "mfa_activate_totp": one(EVERYBODY),
    "mfa_deactivate_totp": Address(EVERYBODY, may_be_empty=True),
    "mfa_view_recovery_codes": Address(EVERYBODY, may_be_empty=True),
    "mfa_generate_recovery_codes": one(EVERYBODY),
    "mfa_download_recovery_codes": Address(EVERYBODY, may_be_empty=True),
    "mfa_list_webauthn": one(EVERYBODY),
    "mfa_add_webauthn": one(EVERYBODY),
    "mfa_edit_webauthn": Address(EVERYBODY, fixed={"pk": 999}),
    "mfa_remove_webauthn": Address(EVERYBODY, fixed={"pk": 999}),
    "usersessions_list": one(EVERYBODY),
    "accounts:me": one(EVERYBODY),
    "accounts:details": one(EVERYBODY),
    "accounts:email": one(EVERYBODY),
    "accounts:email_confirm": PUBLIC,
    "accounts:roles": one(EVERYBODY),
    "accounts:signing_pin": one(WORKERS),
    "accounts:people": one(OWNER),
    "accounts:invite": one(OWNER),
    "accounts:withdraw_invitation": of_firm(OWNER, pk="invitation"),
    "accounts:second_factor_rule": one(OWNER),
    "accounts:audit_trail": one(OWNER),
    "accounts:person": of_firm(OWNER, pk="person"),
    "accounts:person_roles": of_firm(OWNER, pk="person"),
    "accounts:person_close": of_firm(OWNER, pk="person"),
    "accounts:person_reopen": of_firm(OWNER, pk="person"),
    "accounts:person_end_sessions": of_firm(OWNER, pk="person"),
    "accounts:person_forget_factor": of_firm(OWNER, pk="person"),
    "sites:person_clients": of_firm(OWNER, pk="manager"),
    "sites:invitation_clients": of_firm(OWNER, pk="manager_invitation"),
    "visits:today": one(WORKERS),
    "visits:stop": Address(WORKERS, {"pk": "site"}, of_a_client=True, fixed={"day": str(date.today())}),
    "visits:call_out": of_client(WORKERS, pk="spa"),
    "visits:visit": of_client(WORKERS, pk="visit"),
    "visits:visit_start": of_client(WORKERS, pk="visit"),
    "visits:visit_end": of_client(WORKERS, pk="visit"),
    "visits:visit_hand_over": of_client(WORKERS, pk="visit"),
    "visits:visit_draft": of_client(WORKERS, pk="visit"),
    "visits:visit_inspection": of_client(WORKERS, pk="visit"),
    "visits:visit_readings": Address(WORKERS, {"pk": "visit"}, of_a_client=True, fixed={"moment": "before"}),
    "visits:visit_governs": of_client(WORKERS, pk="visit", reading_pk="reading"),
    "visits:visit_decide": Address(WORKERS, {"pk": "visit"}, of_a_client=True, fixed={"moment": "before"}),
    "visits:visit_step": of_client(WORKERS, pk="visit", step_pk="step"),
    "visits:visit_own_dose": of_client(WORKERS, pk="visit"),
    "visits:visit_task": Address(WORKERS, {"pk": "visit"}, of_a_client=True, fixed={"kind": "filter_rinse"}),
    "visits:visit_photo": of_client(WORKERS, pk="visit"),
    "visits:photo_file": of_client(EVERYBODY, pk="visit", photo_pk="photo"),
    "visits:visit_photo_remove": of_client(WORKERS, pk="visit", photo_pk="photo"),
    "visits:visit_close": of_client(WORKERS, pk="visit"),
    "visits:visit_sign": of_client(WORKERS, pk="visit"),
    "visits:planned": one(FIRM),
    "visits:plan_new": one(OFFICE),
    "visits:plan_edit": of_client(OFFICE, pk="visit"),
    "visits:plan_cancel": of_client(OFFICE, pk="visit"),
    "visits:plan_hand_over": of_client(OFFICE, pk="visit"),
    "visits:records": one(EVERYBODY),
    "visits:record": of_client(EVERYBODY, pk="record"),
    "visits:amend": of_client(WORKERS, pk="record"),
    "visits:spa_history": of_client(EVERYBODY, pk="spa"),
    "visits:defects": one(EVERYBODY),
    "visits:defect": of_client(EVERYBODY, pk="defect"),
    "visits:closures": one(EVERYBODY),
    "reports:my_tubs": one(MANAGER),
    "reports:my_tub": of_client(MANAGER, pk="spa"),
    "reports:answer": of_client(MANAGER, pk="defect"),
    "reports:download": of_client(EVERYBODY, pk="record"),
    "reports:make": of_client(EVERYBODY, pk="record"),
    "reports:edition": Address(EVERYBODY, {"pk": "record"}, of_a_client=True, fixed={"number": 1}),
    "reports:notice": of_client(EVERYBODY, pk="closure"),
    "reports:notice_file": of_client(EVERYBODY, pk="closure"),
}
