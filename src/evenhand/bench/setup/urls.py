"""Addresses of this room."""

from django.urls import path

from evenhand.bench.setup import aims, lists, moving, people, views

app_name = "setup"
urlpatterns = [
    path("", views.setup, name="setup"),
    path("people/", people.people, name="people"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/secrets/", people.secrets, name="person-secrets"),
    path("people/<int:pk>/standing/", people.standing, name="person-standing"),
    path("people/<int:pk>/remove/", people.remove, name="person-remove"),
    path("devices/", people.devices, name="devices"),
    path("devices/<int:pk>/remove/", people.remove_device, name="device-remove"),
    path("recipes/", aims.recipes, name="recipes"),
    path("recipes/<int:pk>/", aims.recipe, name="recipe"),
    path("coffees/", aims.coffees, name="coffees"),
    path("coffees/<int:pk>/", aims.coffee, name="coffee"),
    path("scales/", lists.scales, name="scales"),
    path("scales/<int:pk>/", lists.scale, name="scale"),
    path("scales/<int:pk>/remove/", lists.remove_scale, name="scale-remove"),
    path("lists/<str:sort>/", lists.names, name="names"),
    path("lists/<str:sort>/<int:pk>/", lists.change_name, name="name"),
    path("costs/", aims.costs, name="costs"),
    path("shop/", aims.shop, name="shop"),
    path("import/", moving.bring_in, name="import"),
    path("import/now/", moving.bring_in_now, name="import-now"),
    path("export/", moving.take_out, name="export"),
    path("export/backup/", moving.backup, name="backup"),
    path("export/<str:form>/", moving.export, name="export-file"),
    path("history/", views.history, name="history"),
    path("verify/", views.verify, name="verify"),
]
