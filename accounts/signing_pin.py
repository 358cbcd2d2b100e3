"""The signing PIN: what a technician types to sign a visit, in place of a password with wet hands.

It is not a password: it works only for somebody who is signed in already, and few wrong tries lock it.
"""

import re
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action

_SHAPE = re.compile(r"[0-9]{4,8}")
_ROUND_THE_KEYS = ("2580", "0852", "1470", "3690", "159753", "741852", "147258", "1379", "7931")


def check_new_pin(pin: str) -> None:
    """Raise ValidationError unless ``pin`` has 4 to 8 digits and is not one that anybody would try first.

    Refused: one digit or one pair over and over, digits that count up or down, a year, a walk over the
    keypad. NIST SP 800-63B-4, 3.1.1.2 asks that commonly used values be refused; which ones: common
    practice, no source.
    """
    if not _SHAPE.fullmatch(pin):
        raise ValidationError("A signing PIN has 4 to 8 digits, and nothing else.")
    if _is_obvious(pin):
        raise ValidationError("This PIN is among the first that anybody would try. Choose another one.")


def _is_obvious(pin: str) -> bool:
    if any(pin == (pin[:length] * len(pin))[: len(pin)] for length in (1, 2)):
        return True
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if steps in ({1}, {9}):
        return True
    return pin in _ROUND_THE_KEYS or re.fullmatch(r"(19|20)\d\d", pin) is not None


@transaction.atomic
def change_signing_pin(*, pin: str, by: Person) -> None:
    """Set or change one's own PIN. Raises NotAllowed, ValidationError for ``pin``."""
    require(by, Action.CARRY_OUT_VISITS)
    try:
        check_new_pin(pin)
    except ValidationError as error:
        raise ValidationError({"pin": error.messages}) from error
    by.set_signing_pin(pin)
    by.save(update_fields=["signing_pin"])
    record_event(action="person.pin_changed", subject=by, by=by)
