"""Addresses of this room."""

from django.urls import path

from evenhand.bench.people import views

app_name = "people"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/password/", views.password, name="password"),
    path("sign-in/<int:pk>/", views.pin, name="pin"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("me/", views.me, name="me"),
    path("me/units/", views.units, name="units"),
    path("me/secrets/", views.secrets, name="secrets"),
]
