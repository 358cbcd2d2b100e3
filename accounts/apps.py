from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate

from accounts.guards import install_guards, step_aside


class AccountsConfig(AppConfig):
    name = "accounts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Both hold models, which Django allows only from here on.
        from allauth.mfa import signals as mfa

        from accounts.adapter import note_codes_renewed, note_factor_added, note_factor_removed

        # SQLite rebuilds a table, and silently drops its triggers, whenever a column changes:
        # the only dependable moment to put them back is after every migration run.
        pre_migrate.connect(step_aside, sender=self, dispatch_uid="accounts.guards")
        post_migrate.connect(install_guards, sender=self, dispatch_uid="accounts.guards")
        # The sign-in library tells of a changed factor by signal and by nothing else.
        mfa.authenticator_added.connect(note_factor_added, dispatch_uid="accounts.factor_added")
        mfa.authenticator_removed.connect(note_factor_removed, dispatch_uid="accounts.factor_removed")
        mfa.authenticator_reset.connect(note_codes_renewed, dispatch_uid="accounts.codes_renewed")
