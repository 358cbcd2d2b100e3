"""Who may do what: one table, read by the code, shown in the documentation, checked by tests."""

from collections.abc import Iterable
from enum import StrEnum

from django.db.models import TextChoices


class Role(TextChoices):
    OWNER = "owner", "Owner of the firm"
    OFFICE = "office", "Office"
    TECHNICIAN = "technician", "Technician"
    RENTAL_MANAGER = "rental_manager", "Rental manager"
    AUDITOR = "auditor", "Auditor (reads only)"


class Action(StrEnum):
    """Something a person may do; the value is what a refusal and the audit trail call it."""

    SEE_FIRM = "see all sites, visits and records of the firm"
    SEE_OWN_CLIENTS = "see the sites and records of the clients named for this person"
    SEE_ACCESS_CODES = "see access codes of today's own stops"
    SEE_STAFF_NAMES = "see who did a visit"
    PLAN_VISITS = "plan, move and cancel visits"
    CARRY_OUT_VISITS = "enter readings, doses and tasks, and sign a visit"
    AMEND_RECORDS = "add an amendment to a signed record"
    REOPEN_SPA = "reopen a closed spa, by a reading that meets the guideline"
    CLOSE_SPA = "close a spa by hand"
    EDIT_SITES = "add and change clients, sites and spas"
    CHANGE_VOLUME = "change a spa's volume"
    EDIT_STOCK = "add and change products, batches and instruments"
    CONFIRM_GUIDELINE_ROW = "confirm a guideline row against the document"
    SETTLE_DEFECTS = "close a defect, or record the owner's consent"
    ANSWER_FOR_OWNER = "say yes or no to a repair at the clients named for this person"
    MANAGE_PEOPLE = "invite people, change roles, end sessions"
    SEE_AUDIT_TRAIL = "read the audit trail"
    DOWNLOAD_RECORDS = "download visit records"
    IMPORT_LISTS = "import lists of clients, sites, spas, agreements and readings, and take an import back"
    EDIT_FIRM = "change the firm's own details and its guideline"
    MANAGE_TOKENS = "make and withdraw access tokens for other programs"


_EVERYTHING = frozenset(Action)
# What somebody on the client's side does, not the firm.
_OF_THE_CLIENT = frozenset({Action.SEE_OWN_CLIENTS, Action.ANSWER_FOR_OWNER})
_OF_THE_OWNER = frozenset(
    {Action.MANAGE_PEOPLE, Action.MANAGE_TOKENS, Action.SEE_AUDIT_TRAIL, Action.EDIT_FIRM}
)
_OFFICE = _EVERYTHING - _OF_THE_OWNER - _OF_THE_CLIENT

ALLOWED: dict[Role, frozenset[Action]] = {
    Role.OWNER: _EVERYTHING - _OF_THE_CLIENT,
    Role.OFFICE: _OFFICE,
    Role.TECHNICIAN: frozenset(
        {
            Action.SEE_FIRM,
            Action.SEE_ACCESS_CODES,
            Action.SEE_STAFF_NAMES,
            Action.CARRY_OUT_VISITS,
            Action.AMEND_RECORDS,
            Action.REOPEN_SPA,
            Action.CLOSE_SPA,
            Action.DOWNLOAD_RECORDS,
        }
    ),
    Role.RENTAL_MANAGER: _OF_THE_CLIENT | {Action.DOWNLOAD_RECORDS},
    Role.AUDITOR: frozenset({Action.SEE_FIRM, Action.SEE_STAFF_NAMES, Action.DOWNLOAD_RECORDS}),
}


def allowed_actions(roles: Iterable[str]) -> frozenset[Action]:
    """Every action that any of these roles may do.

    >>> Action.AMEND_RECORDS in allowed_actions(["technician"])
    True
    >>> allowed_actions([])
    frozenset()
    """
    return frozenset().union(*(ALLOWED[Role(role)] for role in roles))
