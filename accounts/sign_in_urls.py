"""The sign-in library's pages that Runnel uses, under the names the library knows them by.

Left out on purpose: open registration, e-mail verification and the library's own e-mail page
(``accounts.email_change`` does that), sign-in by e-mailed code, sign-up by passkey, setting a first
password (an invitation sets it), other sign-in providers.
"""

from allauth.account import views as account
from allauth.mfa.base import views as mfa
from allauth.mfa.recovery_codes import views as recovery_codes
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as webauthn
from allauth.usersessions import views as usersessions
from django.urls import path, re_path

urlpatterns = [
    path("sign-in/", account.login, name="account_login"),
    path("sign-in/second-factor/", mfa.authenticate, name="mfa_authenticate"),
    path("sign-in/passkey/", webauthn.login_webauthn, name="mfa_login_webauthn"),
    path("sign-out/", account.logout, name="account_logout"),
    path("closed/", account.account_inactive, name="account_inactive"),
    path("confirm/", account.reauthenticate, name="account_reauthenticate"),
    path("confirm/second-factor/", mfa.reauthenticate, name="mfa_reauthenticate"),
    path("confirm/passkey/", webauthn.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("password/", account.password_change, name="account_change_password"),
    path("password/forgotten/", account.password_reset, name="account_reset_password"),
    path("password/forgotten/sent/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/new/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "password/new/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path("second-factor/", mfa.index, name="mfa_index"),
    path("second-factor/app/", totp.activate_totp, name="mfa_activate_totp"),
    path("second-factor/app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path("second-factor/codes/", recovery_codes.view_recovery_codes, name="mfa_view_recovery_codes"),
    path(
        "second-factor/codes/new/", recovery_codes.generate_recovery_codes, name="mfa_generate_recovery_codes"
    ),
    path(
        "second-factor/codes/download/",
        recovery_codes.download_recovery_codes,
        name="mfa_download_recovery_codes",
    ),
    path("second-factor/keys/", webauthn.list_webauthn, name="mfa_list_webauthn"),
    path("second-factor/keys/add/", webauthn.add_webauthn, name="mfa_add_webauthn"),
    path("second-factor/keys/<int:pk>/", webauthn.edit_webauthn, name="mfa_edit_webauthn"),
    path("second-factor/keys/<int:pk>/remove/", webauthn.remove_webauthn, name="mfa_remove_webauthn"),
    path("sessions/", usersessions.list_usersessions, name="usersessions_list"),
]
