"""Addresses of this room."""

from django.urls import path

from evenhand.bench.today import views

app_name = "today"
urlpatterns = [
    path("", views.today, name="today"),
    path("today/part/", views.part, name="part"),
    path("today/week/", views.week, name="week"),
]
