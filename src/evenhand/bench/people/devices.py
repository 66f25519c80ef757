"""Which device asks, and admitting one: the shop's tablet for good, a phone that joins a table for a while."""

import datetime as dt

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from evenhand.bench.models import Device
from evenhand.bench.people.accounts import add_device, find_device
from evenhand.bench.people.sessions import end_sessions_on


def admit(
    request: HttpRequest, response: HttpResponseBase, *, name: str, by: str, until: dt.datetime | None = None
) -> Device:
    """Make the device that asks one of the shop's, until then or for good; one that is trusted longer stays so.

    Parameters
    ----------
    request, response
        What the device asked, and what it gets: the cookie goes with it.
    name
        What the list of devices calls it.
    by
        Who admits it, or what, such as "table T27".
    until
        When it stops to be trusted; None for good.
    """
    device = find_device(request)
    if device is None:
        Device.objects.filter(until__lt=timezone.now()).delete()
        return add_device(response, name=name, by=by, until=until)
    if device.until is not None and (until is None or until > device.until):
        device.until = until
        if until is None:
            device.name, device.added_by = name, by
        device.save()
    return device


def dismiss(device: Device) -> None:
    """Take a device off the list, and end the log-ins by PIN on it."""
    end_sessions_on(device)
    device.delete()
