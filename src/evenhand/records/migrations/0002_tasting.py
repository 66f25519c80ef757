"""Tables for what is pulled, tasted and signed."""

from typing import Any, ClassVar

import django.db.models.deletion
from django.db import migrations, models

import evenhand.records.models._fields


class Migration(migrations.Migration):
    """Tables for what is pulled, tasted and signed."""

    initial = True
    dependencies: ClassVar[Any] = [("records", "0001_coffee")]
    operations: ClassVar[Any] = [
        migrations.CreateModel(
            name="Pull",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("label", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("pulled_at", evenhand.records.models._fields.MomentField(max_length=40)),
                ("dose_g", models.FloatField()),
                ("beverage_g", models.FloatField()),
                ("time_s", models.FloatField()),
                ("water_c", models.FloatField(null=True)),
                ("pressure_bar", models.FloatField(null=True)),
                ("grind_setting", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("tds_pct", models.FloatField(null=True)),
                ("time_sd_s", models.FloatField(null=True)),
                (
                    "batch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="pulls", to="records.batch"
                    ),
                ),
            ],
            options={
                "verbose_name": "pull",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Cup",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("code", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                (
                    "service",
                    models.CharField(choices=[("black", "black"), ("milk", "milk"), ("bowl", "bowl")], max_length=5),
                ),
                ("position", models.PositiveIntegerField(null=True)),
                (
                    "pull",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cups", to="records.pull"
                    ),
                ),
                (
                    "table",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="cups", to="records.table"
                    ),
                ),
            ],
            options={
                "verbose_name": "cup",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="RecipeVersion",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("number", models.PositiveIntegerField()),
                ("basket_rated_g", models.FloatField(null=True)),
                ("dose_g", models.FloatField()),
                ("dose_tol_g", models.FloatField()),
                ("beverage_g", models.FloatField()),
                ("beverage_tol_g", models.FloatField()),
                ("time_s", models.FloatField()),
                ("time_tol_s", models.FloatField()),
                ("water_c", models.FloatField(null=True)),
                ("water_tol_c", models.FloatField(null=True)),
                ("pressure_bar", models.FloatField(null=True)),
                ("pressure_tol_bar", models.FloatField(null=True)),
                ("milk_drink_ml", models.FloatField(null=True)),
                (
                    "recipe",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="versions", to="records.recipe"
                    ),
                ),
            ],
            options={
                "verbose_name": "recipe version",
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="coffeeversion",
            name="recipe",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="coffees", to="records.recipeversion"
            ),
        ),
        migrations.CreateModel(
            name="Serving",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("position", models.PositiveIntegerField()),
                (
                    "cup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="servings", to="records.cup"
                    ),
                ),
                (
                    "taster",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="servings", to="records.person"
                    ),
                ),
            ],
            options={
                "verbose_name": "serving",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Sheet",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("client_id", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("words", evenhand.records.models._fields.WordsField(blank=True, default="")),
                ("tasted_at", models.DateTimeField(null=True)),
                (
                    "cup",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sheets", to="records.cup"
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="records.sheet",
                    ),
                ),
                (
                    "taster",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sheets", to="records.person"
                    ),
                ),
            ],
            options={
                "verbose_name": "sheet",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Score",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("score", models.FloatField()),
                (
                    "attribute",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="scores", to="records.attribute"
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="scores", to="records.sheet"
                    ),
                ),
            ],
            options={
                "verbose_name": "score",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="FaultAnswer",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("heard", models.BooleanField()),
                (
                    "fault",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="answers", to="records.fault"
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="answers", to="records.sheet"
                    ),
                ),
            ],
            options={
                "verbose_name": "fault asked",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Target",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                (
                    "service",
                    models.CharField(choices=[("black", "black"), ("milk", "milk"), ("bowl", "bowl")], max_length=5),
                ),
                ("target", models.FloatField()),
                ("tolerance", models.FloatField()),
                (
                    "attribute",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="targets", to="records.attribute"
                    ),
                ),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="targets", to="records.coffeeversion"
                    ),
                ),
            ],
            options={
                "verbose_name": "target",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Verdict",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                (
                    "decision",
                    models.CharField(
                        choices=[("release", "release"), ("taste_again", "taste again"), ("hold", "hold")],
                        max_length=11,
                    ),
                ),
                (
                    "advised",
                    models.CharField(
                        choices=[("release", "release"), ("taste_again", "taste again"), ("hold", "hold")],
                        max_length=11,
                    ),
                ),
                ("signed_at", models.DateTimeField()),
                ("note", evenhand.records.models._fields.WordsField(blank=True, default="")),
                ("seen", models.BigIntegerField()),
                ("judgement_text", models.TextField()),
                (
                    "batch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="verdicts", to="records.batch"
                    ),
                ),
                (
                    "costs",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="verdicts", to="records.costsversion"
                    ),
                ),
                (
                    "signed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="verdicts", to="records.person"
                    ),
                ),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="verdicts", to="records.coffeeversion"
                    ),
                ),
            ],
            options={
                "verbose_name": "verdict",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Withdrawal",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("withdrawn_at", models.DateTimeField()),
                ("reason", evenhand.records.models._fields.WordsField()),
                (
                    "verdict",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="withdrawal", to="records.verdict"
                    ),
                ),
                (
                    "withdrawn_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="withdrawals", to="records.person"
                    ),
                ),
            ],
            options={
                "verbose_name": "withdrawal",
                "abstract": False,
            },
        ),
    ]
