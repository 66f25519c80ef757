"""The addresses of the bench: one room a page; the short capitals are for QR codes."""

from django.urls import include, path

from evenhand.bench import live
from evenhand.bench.table.views import join

urlpatterns = [
    path("", include("evenhand.bench.today.urls")),
    path("start/", include("evenhand.bench.start.urls")),
    path("people/", include("evenhand.bench.people.urls")),
    path("pull/", include("evenhand.bench.pull.urls")),
    path("tables/", include("evenhand.bench.table.urls")),
    path("taste/", include("evenhand.bench.taste.urls")),
    path("verdicts/", include("evenhand.bench.verdict.urls")),
    path("coffees/", include("evenhand.bench.coffee.urls")),
    path("setup/", include("evenhand.bench.setup.urls")),
    path("live/", live.hints, name="live"),
    path("T/<str:code>", join, name="join"),
]
