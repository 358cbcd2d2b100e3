from django.apps import AppConfig


class RunsConfig(AppConfig):
    name = "service.runs"
    label = "runs"
    default_auto_field = "django.db.models.BigAutoField"
