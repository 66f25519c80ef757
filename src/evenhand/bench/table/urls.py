"""Addresses of this room."""

from django.urls import path

from evenhand.bench.table import plan_views, views

app_name = "table"
urlpatterns = [
    path("", views.tables, name="tables"),
    path("plan/", plan_views.plan, name="plan"),
    path("plan/choices/", plan_views.choices, name="choices"),
    path("plan/preview/", plan_views.preview, name="preview"),
    path("<int:pk>/", views.table, name="table"),
    path("<int:pk>/plan/", plan_views.plan_anew, name="replan"),
    path("<int:pk>/watch/", views.watch, name="watch"),
    path("<int:pk>/labels.pdf", views.print_labels, name="labels"),
    path("<int:pk>/open/", views.open_it, name="open"),
    path("<int:pk>/back/", views.back_to_plan, name="back"),
    path("<int:pk>/close/", views.close_it, name="close"),
    path("<int:pk>/remove/", views.remove_it, name="remove"),
    path("<int:pk>/seat/", views.seat, name="seat"),
    path("<int:pk>/unseat/<int:person>/", views.unseat, name="unseat"),
    path("<int:pk>/note/", views.note, name="note"),
]
