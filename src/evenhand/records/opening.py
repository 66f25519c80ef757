"""Opens the records for a program that is not a web server: settings, folder, tables."""

import os


def open_records() -> list[str]:
    """Make the records ready to use: find the database, make its folder, and bring its tables up to date.

    Returns
    -------
    list of str
        Warnings about the place of the records.

    Raises
    ------
    RecordError
        When the database is not told rightly, or its folder cannot be made.
    """
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenhand.records.settings")
    import django
    from django.conf import settings
    from django.core.management import call_command

    from evenhand.records.database import prepare

    django.setup()
    warnings = prepare(settings.DATABASES["default"])
    call_command("migrate", verbosity=0, interactive=False)
    return warnings
