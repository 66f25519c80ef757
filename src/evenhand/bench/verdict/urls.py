"""Addresses of this room; batches are named by their number, never by their label."""

from django.urls import path

from evenhand.bench.verdict import views

app_name = "verdict"
urlpatterns = [
    path("", views.verdicts, name="verdicts"),
    path("part/", views.verdicts_part, name="verdicts-part"),
    path("<int:number>/", views.verdict, name="verdict"),
    path("<int:number>/part/", views.verdict_part, name="verdict-part"),
    path("<int:number>/sign/", views.sign, name="sign"),
    path("<int:number>/withdraw/", views.take_back, name="withdraw"),
    path("<int:number>/paper/", views.paper, name="paper"),
]
