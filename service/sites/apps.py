from django.apps import AppConfig


class SitesConfig(AppConfig):
    name = "service.sites"
    label = "sites"
    default_auto_field = "django.db.models.BigAutoField"
