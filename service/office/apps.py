from django.apps import AppConfig


class OfficeConfig(AppConfig):
    name = "service.office"
    label = "office"
    default_auto_field = "django.db.models.BigAutoField"
