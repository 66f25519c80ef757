"""What makes the tasting pages an installable web app where the bench speaks https: a manifest and a service worker.

Over plain http neither is used; the pages and their queue do not need them.
"""

from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import FileResponse, Http404, HttpRequest, HttpResponseBase, JsonResponse
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET


@login_not_required
@require_GET
def worker(request: HttpRequest) -> HttpResponseBase:
    """Send the service worker from beside the pages that it may look after."""
    place = finders.find("bench/sw.js")
    if not isinstance(place, str):
        raise Http404
    return FileResponse(
        open(place, "rb"),  # the response closes it
        content_type="text/javascript",
        headers={"Service-Worker-Allowed": reverse("taste:choose"), "Cache-Control": "no-cache"},
    )


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> JsonResponse:
    """Describe the app to a phone that wants to keep it on its start screen."""
    start = reverse("taste:choose")
    return JsonResponse(
        {
            "id": start,
            "name": _("Evenhand: taste"),
            "short_name": _("Evenhand"),
            "start_url": start,
            "scope": "/",
            "display": "standalone",
            "background_color": "#f6f5f0",
            "theme_color": "#12495a",
            "icons": [{"src": static("bench/mark.svg"), "sizes": "any", "type": "image/svg+xml"}],
        },
        content_type="application/manifest+json",
    )
