"""Addresses of this room."""

from django.urls import path

from evenhand.bench.coffee import batch_views, lot_views, views

app_name = "coffee"
urlpatterns = [
    path("", views.coffees, name="coffees"),
    path("season/", views.season, name="season"),
    path("season.css", views.season_css, name="season-css"),
    path("<int:number>/", views.coffee, name="coffee"),
    path("<int:number>/part/", views.coffee_part, name="coffee-part"),
    path("<int:number>/batch/", batch_views.add_batch, name="add-batch"),
    path("batches/<int:number>/", batch_views.batch, name="batch"),
    path("batches/<int:number>/drop/", batch_views.drop_batch, name="drop-batch"),
    path("lots/", lot_views.lots, name="lots"),
    path("lots/new/", lot_views.add_lot, name="add-lot"),
    path("lots/<int:number>/", lot_views.lot, name="lot"),
    path("lots/<int:number>/reading/", lot_views.add_reading, name="add-reading"),
    path("lots/<int:number>/storage/", lot_views.add_storage, name="add-storage"),
    path("readings/<int:number>/", lot_views.reading, name="reading"),
    path("readings/<int:number>/drop/", lot_views.drop_reading, name="drop-reading"),
    path("storage/<int:number>/", lot_views.storage, name="storage"),
    path("storage/<int:number>/drop/", lot_views.drop_storage, name="drop-storage"),
]
