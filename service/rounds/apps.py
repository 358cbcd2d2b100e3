from django.apps import AppConfig


class RoundsConfig(AppConfig):
    name = "service.rounds"
    label = "rounds"
    default_auto_field = "django.db.models.BigAutoField"
