"""The house recipe that a batch is pulled to: the version of its coffee that stands now, as the judgement takes it."""

from dataclasses import dataclass, fields

from evenhand.espresso.recipe import HouseRecipe
from evenhand.records.models import Batch, Coffee, CoffeeVersion, RecipeVersion

_OF_RECIPE = tuple(field.name for field in fields(HouseRecipe) if field.name != "name")


@dataclass(frozen=True, slots=True)
class Aim:
    """What a pull aims at.

    Attributes
    ----------
    recipe
        The house recipe, as the science knows it.
    version
        The same as the records keep it, with its number and the size of the milk drink.
    """

    recipe: HouseRecipe
    version: RecipeVersion

    def is_newer_than(self, batch: Batch) -> bool:
        """Say whether the recipe was revised after the batch was written down."""
        return bool(self.version.pk != batch.version.recipe_id)


def aim_of(coffee: Coffee) -> Aim:
    """Return what pulls of a coffee aim at now."""
    standing = CoffeeVersion.objects.filter(coffee=coffee).select_related("recipe__recipe").order_by("-number").first()
    assert standing is not None  # a coffee is written with its first version
    return Aim(house_recipe(standing.recipe), standing.recipe)


def house_recipe(version: RecipeVersion) -> HouseRecipe:
    """Turn a recipe of the records into the recipe that the science knows."""
    return HouseRecipe(name=version.recipe.name, **{name: getattr(version, name) for name in _OF_RECIPE})
