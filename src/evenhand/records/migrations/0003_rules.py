"""Rules that the database keeps too: what stands once, and the limits of numbers."""

from typing import Any, ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    """Rules that the database keeps too: what stands once, and the limits of numbers."""

    initial = True
    dependencies: ClassVar[Any] = [("records", "0002_tasting")]
    operations: ClassVar[Any] = [
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(
                condition=models.Q(("roasted_out_kg__lte", models.F("green_in_kg"))), name="batch_mass_loss"
            ),
        ),
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(condition=models.Q(("green_in_kg__gt", 0)), name="batch_green_in_kg"),
        ),
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(
                condition=models.Q(("roasted_out_kg__gt", 0)), name="batch_roasted_out_kg"
            ),
        ),
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(
                condition=models.Q(("green_moisture_pct__gte", 0), ("green_moisture_pct__lte", 100)),
                name="batch_green_moisture_pct",
            ),
        ),
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(
                condition=models.Q(("roasted_moisture_pct__gte", 0), ("roasted_moisture_pct__lte", 100)),
                name="batch_roasted_moisture_pct",
            ),
        ),
        migrations.AddConstraint(
            model_name="batch",
            constraint=models.CheckConstraint(condition=models.Q(("roast_time_s__gt", 0)), name="batch_roast_time_s"),
        ),
        migrations.AddConstraint(
            model_name="batchlot",
            constraint=models.UniqueConstraint(fields=("batch", "lot"), name="batch_lot_once"),
        ),
        migrations.AddConstraint(
            model_name="batchlot",
            constraint=models.CheckConstraint(condition=models.Q(("green_kg__gt", 0)), name="batch_lot_green_kg"),
        ),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("moisture_pct__isnull", True), ("moisture_method__isnull", False), _connector="OR"),
                name="green_reading_method",
            ),
        ),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("moisture_pct__gte", 0), ("moisture_pct__lte", 100)),
                name="green_reading_moisture_pct",
            ),
        ),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_activity__gte", 0), ("water_activity__lte", 1)),
                name="green_reading_water_activity",
            ),
        ),
        migrations.AddConstraint(
            model_name="lotproducer",
            constraint=models.UniqueConstraint(fields=("lot", "name"), name="lot_producer_once"),
        ),
        migrations.AddConstraint(
            model_name="lotproducer",
            constraint=models.CheckConstraint(condition=models.Q(("green_kg__gt", 0)), name="lot_producer_green_kg"),
        ),
        migrations.AddConstraint(
            model_name="lotvariety",
            constraint=models.UniqueConstraint(fields=("lot", "name"), name="lot_variety_once"),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(condition=models.Q(("dose_g__gt", 0)), name="pull_dose_g"),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(condition=models.Q(("beverage_g__gt", 0)), name="pull_beverage_g"),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(condition=models.Q(("time_s__gt", 0)), name="pull_time_s"),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_c__gt", 0), ("water_c__lte", 130)), name="pull_water_c"
            ),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(condition=models.Q(("pressure_bar__gt", 0)), name="pull_pressure_bar"),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(
                condition=models.Q(("tds_pct__gte", 0), ("tds_pct__lte", 100)), name="pull_tds_pct"
            ),
        ),
        migrations.AddConstraint(
            model_name="pull",
            constraint=models.CheckConstraint(condition=models.Q(("time_sd_s__gte", 0)), name="pull_time_sd_s"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.UniqueConstraint(fields=("recipe", "number"), name="recipe_version_once"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(
                condition=models.Q(("basket_rated_g__gt", 0)), name="recipe_basket_rated_g"
            ),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("dose_g__gt", 0)), name="recipe_dose_g"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("dose_tol_g__gt", 0)), name="recipe_dose_tol_g"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("beverage_g__gt", 0)), name="recipe_beverage_g"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(
                condition=models.Q(("beverage_tol_g__gt", 0)), name="recipe_beverage_tol_g"
            ),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("time_s__gt", 0)), name="recipe_time_s"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("time_tol_s__gt", 0)), name="recipe_time_tol_s"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_c__gt", 0), ("water_c__lte", 130)), name="recipe_water_c"
            ),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("water_tol_c__gt", 0)), name="recipe_water_tol_c"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(condition=models.Q(("pressure_bar__gt", 0)), name="recipe_pressure_bar"),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(
                condition=models.Q(("pressure_tol_bar__gt", 0)), name="recipe_pressure_tol_bar"
            ),
        ),
        migrations.AddConstraint(
            model_name="recipeversion",
            constraint=models.CheckConstraint(
                condition=models.Q(("milk_drink_ml__gt", 0)), name="recipe_milk_drink_ml"
            ),
        ),
        migrations.AddConstraint(
            model_name="coffeeversion",
            constraint=models.UniqueConstraint(fields=("coffee", "number"), name="coffee_version_once"),
        ),
        migrations.AddConstraint(
            model_name="serving",
            constraint=models.UniqueConstraint(fields=("cup", "taster"), name="serving_once"),
        ),
        migrations.AddConstraint(
            model_name="serving",
            constraint=models.CheckConstraint(condition=models.Q(("position__gte", 1)), name="serving_position"),
        ),
        migrations.AddConstraint(
            model_name="sheet",
            constraint=models.UniqueConstraint(
                condition=models.Q(("supersedes__isnull", True)), fields=("cup", "taster"), name="sheet_first_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="score",
            constraint=models.UniqueConstraint(fields=("sheet", "attribute"), name="score_once"),
        ),
        migrations.AddConstraint(
            model_name="faultanswer",
            constraint=models.UniqueConstraint(fields=("sheet", "fault"), name="fault_answer_once"),
        ),
        migrations.AddConstraint(
            model_name="cup",
            constraint=models.CheckConstraint(condition=models.Q(("position__gte", 1)), name="cup_position"),
        ),
        migrations.AddConstraint(
            model_name="target",
            constraint=models.UniqueConstraint(fields=("version", "service", "attribute"), name="target_once"),
        ),
        migrations.AddConstraint(
            model_name="target",
            constraint=models.CheckConstraint(condition=models.Q(("tolerance__gt", 0)), name="target_tolerance"),
        ),
    ]
