"""Settings of Django for the records alone: enough to read, write, import and export; the pages add their own."""

import os

from evenhand.records import database

DATA = database.data_folder(os.environ)
DATABASES = {"default": database.configure(os.environ)}
INSTALLED_APPS = ["evenhand.records"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
USE_TZ = True
TIME_ZONE = "UTC"

EVENHAND_KEY_FILE = os.environ.get("EVENHAND_KEY_FILE") or os.fspath(DATA / database.KEY_NAME)
"""The keys that seal the history. Several servers of one database need the same file."""
