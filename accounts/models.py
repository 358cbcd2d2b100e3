"""Organisations, people, roles, invitations and the audit trail."""

import uuid
from collections.abc import Iterator
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password, make_password
from django.db import models
from django.utils import timezone
from django_scopes import ScopedManager

from accounts.ownership import OwnedByOrganisation
from accounts.roles import Action, Role, allowed_actions


class Organisation(models.Model):
    """A service firm. Everything else belongs to exactly one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField("name", max_length=120)
    phone = models.CharField("telephone", max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    address = models.TextField("address", blank=True, max_length=400)
    time_zone = models.CharField("time zone", max_length=60, default="Europe/London")
    guideline_id = models.CharField("guideline", max_length=60, default="uk_hsg282")
    us_units = models.BooleanField("US units on screen and paper", default=False)
    require_second_factor = models.BooleanField("everybody signs in with a second factor", default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name


class PersonManager(BaseUserManager["Person"]):
    """Not scoped: signing in happens before the organisation is known."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        person = self.model(email=self.normalize_email(email).lower(), **fields)
        person.set_password(password)
        person.full_clean(exclude=["password"])
        person.save()
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in. Belongs to one organisation and holds one or more roles in it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="people")
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField("name", max_length=120)
    phone = models.CharField("telephone", max_length=40, blank=True)
    is_active = models.BooleanField("may sign in", default=True)
    signing_pin = models.CharField(max_length=200, blank=True, editable=False)
    # Part of what a session is checked against: raising it signs the person out everywhere.
    session_serial = models.PositiveIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = PersonManager()
    # The token through which they act in this request, if another program does it for them.
    access_token: "AccessToken | None" = None

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar = ["name"]

    class Meta:
        ordering: ClassVar = ["name"]
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.name

    @cached_property
    def roles(self) -> frozenset[str]:
        return frozenset(self.role_grants.values_list("role", flat=True))

    @cached_property
    def actions(self) -> frozenset[Action]:
        return allowed_actions(self.roles)

    def may(self, action: Action) -> bool:
        return action in self.actions

    def get_session_auth_hash(self) -> str:
        return f"{super().get_session_auth_hash()}.{self.session_serial}"

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        for older in super().get_session_auth_fallback_hash():
            yield f"{older}.{self.session_serial}"

    def set_signing_pin(self, pin: str) -> None:
        self.signing_pin = make_password(pin)

    def signing_pin_is(self, pin: str) -> bool:
        return bool(self.signing_pin) and check_password(pin, self.signing_pin)


class RoleGrant(models.Model):
    """One role of one person. Not scoped: read while signing in."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="role_grants")
    role = models.CharField(max_length=20, choices=Role)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["person", "role"], name="one_grant_per_role"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="role_is_known"),
        ]

    def __str__(self) -> str:
        return self.get_role_display()


class Invitation(OwnedByOrganisation):
    """An e-mailed link that makes one person. The link's secret is stored as a digest only."""

    email = models.EmailField("e-mail")
    name = models.CharField("name", max_length=120)
    roles = models.JSONField("roles", default=list)
    # Client keys for a rental manager; plain keys, because clients live in a room above this one.
    client_ids = models.JSONField(default=list, editable=False)
    secret_digest = models.CharField(max_length=64, unique=True, editable=False)
    invited_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField(editable=False)
    accepted_at = models.DateTimeField(null=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at"]

    def __str__(self) -> str:
        return self.email


class AccessToken(OwnedByOrganisation):
    """Lets another program act for a person, as far as one role goes. The secret is kept as a digest only."""

    name = models.CharField("name", max_length=80)
    role = models.CharField("role", max_length=20, choices=Role)
    # Whose sight and name it uses: whoever made it, or the rental manager whose clients it sees.
    acts_for = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", editable=False)
    prefix = models.CharField(max_length=20, editable=False)
    secret_digest = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField(editable=False)
    last_used_at = models.DateTimeField(null=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="token_role_is_known"),
            models.CheckConstraint(
                condition=models.Q(expires_at__gt=models.F("created_at")),
                name="token_expires_after_it_is_made",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class AuditEvent(models.Model):
    """What was done, by whom, to what. Rows cannot be changed or deleted (database trigger).

    No foreign keys to what it describes, so that it outlives it; no names, so that a person can be
    erased while the trail stays.
    """

    id = models.BigAutoField(primary_key=True)
    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    actor_id = models.UUIDField(null=True)
    action = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    detail = models.JSONField(default=dict)

    if TYPE_CHECKING:
        objects: ClassVar[models.Manager[Self]]
    else:
        objects = ScopedManager(organisation="organisation")

    class Meta:
        ordering: ClassVar = ["-at", "-id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "-at"], name="audit_by_time"),
            models.Index(fields=["organisation", "subject_type", "subject_id"], name="audit_by_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.subject_type} {self.subject_id}"
