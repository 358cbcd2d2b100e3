from django.apps import AppConfig


class DemoConfig(AppConfig):
    """The demonstration: an invented scenario, and one command that serves it."""

    name = "service.demo"
    label = "demo"
