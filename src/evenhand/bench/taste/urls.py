"""Addresses of this room."""

from django.urls import path

from evenhand.bench.taste import api, shell, views

app_name = "taste"
urlpatterns = [
    path("", views.choose, name="choose"),
    path("list/", views.tables, name="tables"),
    path("sw.js", shell.worker, name="worker"),
    path("manifest.webmanifest", shell.manifest, name="manifest"),
    path("<int:table_pk>/", views.table, name="table"),
    path("<int:table_pk>/cups", api.cups, name="cups"),
    path("<int:table_pk>/sheets", api.sheets, name="sheets"),
]
