"""The answer to a form that was taken: look at another page (303), so that loading it again sends nothing twice."""

from typing import Any

from django.http import HttpResponseRedirect
from django.urls import reverse


def see_other(name: str, *keys: Any) -> HttpResponseRedirect:
    """Lead to the page of this name."""
    return HttpResponseRedirect(reverse(name, args=keys), status=303)
