"""Addresses of this room; they hold numbers alone, never a batch's label or a cup's code."""

from django.urls import path

from evenhand.bench.pull import kept_views, views

app_name = "pull"
urlpatterns = [
    path("", views.choose, name="choose"),
    path("slot/<int:slot>/", views.pull_slot, name="slot"),
    path("slot/<int:slot>/reading/", views.read_slot, name="slot-reading"),
    path("batch/<int:batch>/", views.pull_batch, name="batch"),
    path("batch/<int:batch>/reading/", views.read_batch, name="batch-reading"),
    path("history/<int:coffee>/", views.history, name="history"),
    path("kept/<int:pull>/", kept_views.kept, name="kept"),
    path("kept/<int:pull>/correct/", kept_views.correct, name="correct"),
    path("kept/<int:pull>/solids/", kept_views.add_solids, name="solids"),
    path("kept/<int:pull>/undo/", kept_views.undo, name="undo"),
    path("kept/<int:pull>/pull-again/", kept_views.pull_again, name="pull-again"),
]
