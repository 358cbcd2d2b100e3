from django.apps import AppConfig
from django.db.models.signals import post_migrate

from accounts.guards import install_guards


class AccountsConfig(AppConfig):
    name = "accounts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # SQLite rebuilds a table, and silently drops its triggers, whenever a column changes:
        # the only dependable moment to put them back is after every migration run.
        post_migrate.connect(install_guards, dispatch_uid="accounts.guards")
