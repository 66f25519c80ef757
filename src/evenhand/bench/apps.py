"""Tells Django about the bench."""

from django.apps import AppConfig


class BenchConfig(AppConfig):
    """The bench: accounts, tables under way, judgements kept at hand, and the pages."""

    name = "evenhand.bench"
    label = "bench"
    default_auto_field = "django.db.models.BigAutoField"
