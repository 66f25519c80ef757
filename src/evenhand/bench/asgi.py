"""The bench as an ASGI application."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenhand.bench.settings")

from django.core.asgi import get_asgi_application
from django.urls import reverse

from evenhand.bench.limits import Bounded

_pages = get_asgi_application()
application = Bounded(_pages, reverse("setup:import"))  # type: ignore[arg-type]  # the same, in words of Django's own
