from django.apps import AppConfig


class ImportingConfig(AppConfig):
    name = "service.importing"
    label = "importing"
    default_auto_field = "django.db.models.BigAutoField"
