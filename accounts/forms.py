"""Forms about people and one's own account."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts
from django.utils.functional import lazy
from django.utils.html import format_html, format_html_join

from accounts.firm import time_zones
from accounts.models import AccessToken, Invitation, Organisation, Person
from accounts.roles import Role
from accounts.tokens import LONGEST_DAYS, TOKEN_ROLES

_WHAT_A_ROLE_DOES = {
    Role.OWNER: "everything, people and the audit trail too",
    Role.OFFICE: "plans visits, looks after clients, sites, spas and products",
    Role.TECHNICIAN: "carries out visits and signs them",
    Role.RENTAL_MANAGER: "sees the sites of the clients you name, and nothing else",
    Role.AUDITOR: "reads everything of the firm, changes nothing",
}


_WHAT_A_TOKEN_DOES = {
    Role.OFFICE: "plans visits, looks after clients, sites, spas and products, and records readings",
    Role.TECHNICIAN: "starts visits, records readings and asks for decisions; signing is left to people",
    Role.AUDITOR: "reads everything of the firm, changes nothing",
    Role.RENTAL_MANAGER: "reads what one rental manager sees, and nothing else",
}

_NO_ADDRESS = "This is not an e-mail address: it needs a name, an @ and a domain."


def _or_say(missing: str, **more: str) -> dict[str, str]:
    """What a field says when it was left empty, and its other messages."""
    return {"required": missing, **more}


class RolesField(forms.MultipleChoiceField):
    """One or more roles, each with what it means."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **kwargs: Any) -> None:
        choices = [(role.value, f"{role.label}: {_WHAT_A_ROLE_DOES[role]}") for role in Role]
        super().__init__(
            label="Roles", choices=choices, error_messages={"required": "Choose at least one role."}, **kwargs
        )


class InviteForm(forms.Form):
    name = forms.CharField(
        label="Name",
        max_length=Invitation._meta.get_field("name").max_length,
        error_messages=_or_say("Type the name of the person you invite."),
    )
    email = forms.EmailField(
        label="E-mail",
        help_text="The invitation goes here. It works once, for seven days.",
        error_messages=_or_say("Type an e-mail address.", invalid=_NO_ADDRESS),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    roles = RolesField()


class RolesForm(forms.Form):
    roles = RolesField()


def _password_rules() -> str:
    rules = ([rule] for rule in password_validators_help_texts())
    return format_html("<ul>{}</ul>", format_html_join("", "<li>{}</li>", rules))


class AcceptForm(forms.Form):
    name = forms.CharField(
        label="Your name",
        max_length=Person._meta.get_field("name").max_length,
        help_text="As it stands on the records you sign",
        error_messages=_or_say("Type your name."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    password = forms.CharField(
        label="Password",
        max_length=128,
        strip=False,
        error_messages=_or_say("Choose a password."),
        help_text=lazy(_password_rules, str)(),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )


class DetailsForm(forms.Form):
    name = forms.CharField(
        label="Name",
        max_length=Person._meta.get_field("name").max_length,
        help_text="As it stands on the records you sign from now on; signed records keep theirs",
        error_messages=_or_say("Type your name."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    phone = forms.CharField(
        label="Telephone",
        max_length=Person._meta.get_field("phone").max_length,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "tel", "inputmode": "tel"}),
    )


class FirmForm(forms.Form):
    """How the firm is named and reached on its papers, and by which clock it works."""

    name = forms.CharField(
        label="Name of the firm",
        max_length=Organisation._meta.get_field("name").max_length,
        error_messages=_or_say("Type the name of the firm."),
    )
    address = forms.CharField(
        label="Address",
        required=False,
        max_length=Organisation._meta.get_field("address").max_length,
        help_text="As it stands on papers, line by line. At most 400 characters.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    phone = forms.CharField(
        label="Telephone",
        required=False,
        max_length=Organisation._meta.get_field("phone").max_length,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(label="E-mail", required=False, error_messages={"invalid": _NO_ADDRESS})
    time_zone = forms.ChoiceField(
        label="Time zone",
        help_text="The firm's days begin and its clocks are read by it.",
        error_messages=_or_say("Choose the time zone.", invalid_choice="Choose the time zone from the list."),
    )
    us_units = forms.BooleanField(label="US units on screen and paper", required=False)

    def __init__(self, *args: Any, time_zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["time_zone"]
        field.choices = [(zone, zone.replace("_", " ")) for zone in sorted({*time_zones(), time_zone})]


class EmailForm(forms.Form):
    email = forms.EmailField(
        label="New e-mail address",
        help_text="A link goes there. Nothing changes before you open it.",
        error_messages=_or_say("Type an e-mail address.", invalid=_NO_ADDRESS),
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )


def _pin_input() -> forms.PasswordInput:
    return forms.PasswordInput(
        attrs={"inputmode": "numeric", "autocomplete": "off", "maxlength": "8", "class": "code-input"}
    )


class SigningPinForm(forms.Form):
    pin = forms.CharField(
        label="Signing PIN",
        help_text="4 to 8 digits. You type it to sign a visit, so choose one that nobody guesses.",
        error_messages=_or_say("Type a PIN of 4 to 8 digits."),
        widget=_pin_input(),
    )
    again = forms.CharField(
        label="The same PIN again",
        error_messages=_or_say("Type the same PIN once more."),
        widget=_pin_input(),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "pin" in cleaned and "again" in cleaned and cleaned["pin"] != cleaned["again"]:
            self.add_error("again", "The two PINs differ. Type both again.")
        return cleaned


class TokenForm(forms.Form):
    """A new access token. ``managers``: the firm's rental managers, one of whom it may act for."""

    name = forms.CharField(
        label="Name",
        max_length=AccessToken._meta.get_field("name").max_length,
        help_text="Which program it is for, such as “Booking sync”. The audit trail names it.",
        error_messages=_or_say("Type which program the token is for."),
    )
    role = forms.ChoiceField(
        label="Role",
        choices=[(role.value, f"{role.label}: {_WHAT_A_TOKEN_DOES[role]}") for role in TOKEN_ROLES],
        widget=forms.RadioSelect,
        help_text="The program may do what this role may, and never more than you may yourself.",
        error_messages=_or_say("Choose the role of the token."),
    )
    days = forms.IntegerField(
        label="Good for, in days",
        min_value=1,
        max_value=LONGEST_DAYS,
        initial=90,
        help_text=f"From 1 to {LONGEST_DAYS} days. Shorter is safer: a new one is made in a minute.",
        error_messages=dict.fromkeys(
            ("required", "invalid", "min_value", "max_value"),
            f"Type a whole number of days, from 1 to {LONGEST_DAYS}.",
        ),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, managers: Sequence[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = {str(person.pk): person for person in managers}
        names = [(key, f"{person.name}, {person.email}") for key, person in people.items()]
        self.fields["manager"] = forms.TypedChoiceField(
            label="Rental manager",
            choices=[("", "Nobody"), *names],
            coerce=people.__getitem__,
            empty_value=None,
            required=False,
            help_text="For a token of a rental manager: it sees the clients that this person sees.",
        )
        self.order_fields(["name", "role", "manager", "days"])


class TrailForm(forms.Form):
    """Filters of the audit trail, in the address bar."""

    who = forms.ChoiceField(label="Who", required=False)
    about = forms.ChoiceField(label="About", required=False)
    since = forms.DateField(label="From", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(label="To", required=False, widget=forms.DateInput(attrs={"type": "date"}))

    ABOUT = (
        ("", "Everything"),
        ("visit", "Visits"),
        ("record", "Records and amendments"),
        ("closure", "Closing and reopening"),
        ("defect", "Defects"),
        ("client", "Clients"),
        ("site", "Sites"),
        ("spa", "Spas"),
        ("product", "Products"),
        ("batch", "Batches"),
        ("instrument", "Instruments"),
        ("person", "People"),
        ("invitation", "Invitations"),
        ("token", "Access tokens"),
        ("firm", "The firm"),
        ("agreement", "Agreements"),
        ("booking", "Bookings"),
        ("calendar", "Calendars"),
        ("week_plan", "Week plans"),
        ("list", "Lists brought in"),
        ("run", "Background work"),
    )

    def __init__(self, *args: Any, people: list[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        who: Any = self.fields["who"]
        about: Any = self.fields["about"]
        who.choices = [("", "Everybody"), *((str(person.pk), person.name) for person in people)]
        about.choices = self.ABOUT

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and since > until:
            self.add_error("until", "This day lies before the first one.")
        return cleaned
