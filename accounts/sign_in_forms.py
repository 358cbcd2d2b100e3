"""The sign-in library's forms with our labels and without placeholders, which vanish once one types."""

from typing import Any

from allauth.account import forms as account
from allauth.mfa.base import forms as mfa
from allauth.mfa.totp import forms as totp
from allauth.mfa.webauthn import forms as webauthn
from django import forms

_LABELS = {
    "login": "E-mail",
    "email": "E-mail",
    "password": "Password",
    "oldpassword": "Password now",
    "password1": "New password",
    "password2": "New password again",
    "code": "Code of six digits, or a recovery code",
    "name": "Name of this key",
    "passwordless": "This key alone signs me in, without a password",
}


_MISSING = {
    "login": "Type the e-mail address you sign in with.",
    "email": "Type the e-mail address you sign in with.",
    "password": "Type your password.",
    "oldpassword": "Type your password as it is now.",
    "password1": "Type the new password.",
    "password2": "Type the new password once more.",
    "code": "Type the code.",
}


def _relabel(form: forms.Form) -> None:
    for name, field in form.fields.items():
        if name in _MISSING:
            field.error_messages["required"] = _MISSING[name]
        field.label = _LABELS.get(name, field.label)
        field.widget.attrs.pop("placeholder", None)


class SignInForm(account.LoginForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)
        self.fields["password"].help_text = ""


class ForgottenForm(account.ResetPasswordForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)


class NewPasswordForm(account.ResetPasswordKeyForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)


class ChangePasswordForm(account.ChangePasswordForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)


class ConfirmForm(account.ReauthenticateForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)


class CodeForm(mfa.AuthenticateForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)
        self.fields["code"].widget.attrs["class"] = "code-input"


class ConfirmCodeForm(mfa.ReauthenticateForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)
        self.fields["code"].widget.attrs["class"] = "code-input"


class AddAppForm(totp.ActivateTOTPForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)
        self.fields["code"].label = "Code of six digits that the app shows now"
        self.fields["code"].widget.attrs |= {"class": "code-input", "inputmode": "numeric"}


class AddKeyForm(webauthn.AddWebAuthnForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _relabel(self)
        self.fields["passwordless"].help_text = "It then asks for your finger, your face or its own PIN."
