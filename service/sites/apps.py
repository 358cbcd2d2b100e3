from django.apps import AppConfig


class SitesConfig(AppConfig):
    name = "service.sites"
    label = "sites"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Both hold models, which Django allows only from here on.
        from accounts.invitations import on_arrival
        from service.sites.manager_access import open_invited_clients

        on_arrival(open_invited_clients)
