"""What was measured of a pull that was undone: kept in the log-in's session, so that nobody has to type it again."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest

from evenhand.bench.pull.forms import MEASURED
from evenhand.espresso.extraction import HAND_SD_S
from evenhand.records.models import Batch, Pull

_KEPT = "undone_pull"
_ASKED = "undone"


def values_of(pull: Pull) -> dict[str, Any]:
    """Return what a pull holds as the form of a new one starts with it."""
    values = {name: getattr(pull, name) for name in (*MEASURED, "grind_setting")}
    if values["time_sd_s"] == HAND_SD_S:  # taken with the page's watch: the deviation goes if another time is typed
        values |= {"time_sd_s": None, "watched_s": values["time_s"]}
    return {name: value for name, value in values.items() if value is not None}


def keep_undone(request: HttpRequest, number: int, batch: int, values: dict[str, Any]) -> str:
    """Keep what was measured, and return the query of the page that is to show it again."""
    request.session[_KEPT] = {"pull": number, "batch": batch, "values": values}
    return urlencode({_ASKED: number})


def undone_values(request: HttpRequest, batch: Batch) -> dict[str, Any]:
    """Return what was measured of the undone pull that the address asks for; empty where it is not of this batch."""
    kept: dict[str, Any] = request.session.get(_KEPT, {})
    is_it = bool(kept) and request.GET.get(_ASKED) == str(kept["pull"]) and kept["batch"] == batch.pk
    return dict(kept["values"]) if is_it else {}


def forget_undone(request: HttpRequest) -> None:
    """Forget it, once a pull was written."""
    request.session.pop(_KEPT, None)
