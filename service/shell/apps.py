from django.apps import AppConfig


class ShellConfig(AppConfig):
    """The shared shell: layout, components, error pages, the way in."""

    name = "service.shell"
    label = "shell"
