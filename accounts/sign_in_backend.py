"""Who a session belongs to: the person with their firm and roles, in one query a page."""

from uuid import UUID

from allauth.account.auth_backends import AuthenticationBackend

from accounts.models import Person, RoleGrant


class SignInBackend(AuthenticationBackend):
    """The sign-in library's backend; every page asks for person, firm and roles, so they come together."""

    def get_user(self, user_id: UUID) -> Person | None:
        grants = list(RoleGrant.objects.filter(person=user_id).select_related("person__organisation"))
        if not grants:
            nobody_yet: Person | None = super().get_user(user_id)
            return nobody_yet
        person = grants[0].person
        person.roles = frozenset(grant.role for grant in grants)
        return person if self.user_can_authenticate(person) else None
