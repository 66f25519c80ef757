"""The sentences that the scripts of this room show, in the reader's language."""

from typing import Any

from django.utils.translation import gettext as _

from evenhand.bench.taste.taking import empty_sheet

SIGNS = {"todo": "○", "begun": "…", "waits": "◐", "done": "✓", "needs": "▲", "unpoured": "◌"}
"""A shape for each state of a cup."""


def state_words() -> dict[str, str]:
    """Return the word for each state of a cup, as its taster sees it."""
    return {
        "todo": _("not tasted yet"),
        "begun": _("begun"),
        "waits": _("waits on this phone"),
        "done": _("handed in"),
        "needs": _("needs you"),
        "unpoured": _("not poured yet"),
    }


def script_words() -> dict[str, Any]:
    """Return what the scripts show; pairs are for one and for several, %s is the number."""
    return {
        "signs": SIGNS,
        "states": state_words(),
        "waiting": [_("%s sheet waits on this phone"), _("%s sheets wait on this phone")],
        "needs": [_("%s sheet needs you"), _("%s sheets need you")],
        "nothing": _("Nothing waits on this phone"),
        "others": [
            _("%s sheet of somebody else waits here too (%n); it is sent once they log in on this phone."),
            _("%s sheets of others wait here too (%n); each is sent once its taster logs in on this phone."),
        ],
        "unreachable": _("The bench does not answer. Go on tasting: this phone sends them by itself when it does."),
        "log-in": _("Your log-in has ended. Nothing is lost: log in again, and they are sent."),
        "other-person": _("Somebody else is logged in on this phone now. Log in again yourself, and they are sent."),
        "refused": _("The bench did not take this sheet."),
        "choose": _("What to do"),
        "mend": _("Open and mend"),
        "again": _("Send again"),
        "drop": _("Throw away"),
        "dropped": _("Yes, throw it away"),
        "sure": _("This sheet is nowhere else. Save it to a file first if you are not sure."),
        "brought": [_("%s sheet is back in the queue."), _("%s sheets are back in the queue.")],
        "unreadable": _("This is no file of sheets that were saved here."),
        "unscored": _("not scored yet"),
        "off_scale": _("%a: write a number from %l to %h, such as 5.5 or 5,5."),
        "empty": empty_sheet(),
        "full": _("This phone could not keep the sheet. Free some space on it, then hand it in again."),
        "hand_in": _("Hand in %c"),
        "correct": _("Correct %c"),
        "handed": ["", _("%c is handed in.")],
        "left": [_("%s cup is left to taste."), _("%s cups are left to taste.")],
        "all_done": _("Every cup has its sheet. Thank you."),
    }
