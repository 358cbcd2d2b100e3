from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "service.stock"
    label = "stock"
    default_auto_field = "django.db.models.BigAutoField"
