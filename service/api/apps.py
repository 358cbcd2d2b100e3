from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "service.api"
    label = "api"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from service.api import schema  # noqa: F401  (names how a token is described)
