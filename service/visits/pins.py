"""The signing PIN: asked for at every signature, with few tries."""

from django.core.cache import cache
from django.core.exceptions import ValidationError

from accounts.models import Person
from service.visits.editing import Refused

MOST_TRIES = 5
LOCKED_MINUTES = 15


def check_pin(person: Person, pin: str) -> None:
    """Raise unless ``pin`` is the person's. Five wrong ones in a row lock signing for 15 minutes.

    Call outside the transaction of the signature, so that a wrong try is counted whatever follows.

    Raises ValidationError for ``pin``, or Refused when there is no PIN or signing is locked.
    """
    if not person.signing_pin:
        raise Refused("You have no signing PIN yet. Set one under your name, then sign.")
    key = f"wrong-pins:{person.pk}"
    # Counted before it is compared: guesses sent at the same time are all counted.
    cache.add(key, 0, LOCKED_MINUTES * 60)
    tries = cache.incr(key)
    cache.touch(key, LOCKED_MINUTES * 60)
    if tries > MOST_TRIES:
        raise Refused(f"Too many wrong PINs. Try again in {LOCKED_MINUTES} minutes; nothing is lost.")
    if not person.signing_pin_is(pin):
        left = MOST_TRIES - tries
        raise ValidationError({"pin": f"This is not your PIN. {_tries(left)}"})
    cache.delete(key)


def _tries(left: int) -> str:
    if left == 0:
        return f"Signing is locked for {LOCKED_MINUTES} minutes; nothing is lost."
    return f"{left} {'try' if left == 1 else 'tries'} left."
