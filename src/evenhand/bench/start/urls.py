"""Addresses of this room."""

from django.urls import path

from evenhand.bench.start import views

app_name = "start"
urlpatterns = [
    path("", views.start, name="start"),
    path("demo/", views.demo, name="demo"),
    path("owner/", views.owner, name="owner"),
    path("questions/", views.questions, name="questions"),
]
