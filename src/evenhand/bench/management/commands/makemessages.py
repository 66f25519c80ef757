"""Collects what a translator translates: the bench's own words, and the sentences of engine and records beside them."""

from pathlib import Path

from django.core.management.commands import makemessages

_UNKNOWN_PLURAL = "nplurals=INTEGER; plural=EXPRESSION;"
_USUAL_PLURAL = "nplurals=2; plural=(n != 1);"


class Command(makemessages.Command):
    """Django's own command, which knows `evenhand.words` as well."""

    xgettext_options = [  # noqa: RUF012 - as Django has it
        *makemessages.Command.xgettext_options,
        "--keyword=say:1",
        "--keyword=say_many:1,2",
        "--keyword=join:2",
        "--keyword=_now",
        # "90 % interval" is no format of the kind that a per cent sign begins.
        "--flag=say:1:no-python-format",
        "--flag=say_many:1:no-python-format",
        "--flag=say_many:2:no-python-format",
    ]

    def write_po_file(self, potfile: str, locale: str) -> None:
        """Write the file of one language; where nobody knows how it forms plurals, as English does."""
        super().write_po_file(potfile, locale)
        for file in Path(potfile).parent.glob(f"{locale}/LC_MESSAGES/{self.domain}.po"):
            text = file.read_text(encoding="utf-8")
            if _UNKNOWN_PLURAL in text:
                file.write_text(text.replace(_UNKNOWN_PLURAL, _USUAL_PLURAL), encoding="utf-8")
