"""Names the records to Django."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """The app that keeps what the shop writes down."""

    name = "evenhand.records"
    label = "records"
    verbose_name = "records"
    default_auto_field = "django.db.models.BigAutoField"
