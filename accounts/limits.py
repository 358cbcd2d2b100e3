"""Every limit on tries, in words and in numbers. Settings hand them to the sign-in library.

A limit counts either a network address ("ip"), a person who is signed in ("user"), or what was typed
("key": the e-mail address, or the person whose second factor is asked for). A whole depot may stand
behind one network address, so those numbers are the wide ones.

Source of the shape (wide for an address, narrow for an account, a used try counts even when it is
right): OWASP ASVS 5.0.0, 6.3.1. The numbers themselves: common practice, no source.
"""

from dataclasses import dataclass

MINUTE = 60
HOUR = 60 * MINUTE
DAY = 24 * HOUR


@dataclass(frozen=True)
class Limit:
    """At most ``times`` tries in ``seconds`` for one ``per``."""

    times: int
    seconds: int
    per: str
    words: str

    @property
    def rate(self) -> str:
        """As the sign-in library reads it.

        >>> Limit(5, 900, "key", "").rate
        '5/900s/key'
        """
        return f"{self.times}/{self.seconds}s/{self.per}"


LIMITS: dict[str, tuple[Limit, ...]] = {
    "login": (Limit(60, 5 * MINUTE, "ip", "60 sign-ins in five minutes from one network address"),),
    "login_failed": (
        Limit(30, 5 * MINUTE, "ip", "30 wrong passwords or codes in five minutes from one network address"),
        Limit(5, 15 * MINUTE, "key", "5 wrong passwords or codes in fifteen minutes for one account"),
        Limit(20, DAY, "key", "20 wrong passwords or codes in a day for one account"),
    ),
    "reauthenticate": (Limit(10, 15 * MINUTE, "user", "10 confirmations in fifteen minutes by one person"),),
    "change_password": (Limit(10, HOUR, "user", "10 password changes tried in an hour by one person"),),
    "reset_password": (
        Limit(20, HOUR, "ip", "20 forgotten passwords in an hour from one network address"),
        Limit(3, HOUR, "key", "3 e-mails about a forgotten password in an hour for one account"),
    ),
    "reset_password_from_key": (Limit(20, HOUR, "ip", "20 new passwords in an hour from one address"),),
    "invite": (Limit(50, DAY, "user", "50 invitations in a day by one person"),),
    "accept_invitation": (
        Limit(30, HOUR, "ip", "30 tries to accept an invitation in an hour from one network address"),
    ),
    "email_change": (Limit(5, HOUR, "user", "5 new e-mail addresses asked for in an hour by one person"),),
    "email_confirm": (Limit(30, HOUR, "ip", "30 confirmed addresses in an hour from one network address"),),
    "make_token": (Limit(20, HOUR, "user", "20 access tokens made in an hour by one person"),),
    "signing_pin": (Limit(10, HOUR, "user", "10 new signing PINs tried in an hour by one person"),),
}


def rates() -> dict[str, str]:
    """Every action with its limits, as the setting ACCOUNT_RATE_LIMITS wants them."""
    return {action: ",".join(limit.rate for limit in limits) for action, limits in LIMITS.items()}


PASSKEY_RATES = {"webauthn_login": Limit(30, 5 * MINUTE, "ip", "30 passkeys in five minutes").rate}
