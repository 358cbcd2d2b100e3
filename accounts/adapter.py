"""People come in by invitation only."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class InvitedOnly(DefaultAccountAdapter):
    """Closes open registration; ``accounts.invitations`` is the way in."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
