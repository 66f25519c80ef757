"""Tables for what the shop aims at and roasts, and for the history."""

from typing import Any, ClassVar

import django.db.models.deletion
from django.db import migrations, models

import evenhand.records.models._fields


class Migration(migrations.Migration):
    """Tables for what the shop aims at and roasts, and for the history."""

    initial = True
    dependencies: ClassVar[Any] = []
    operations: ClassVar[Any] = [
        migrations.CreateModel(
            name="Coffee",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
            ],
            options={
                "verbose_name": "coffee",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Fault",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("is_active", models.BooleanField(default=True)),
            ],
            options={
                "verbose_name": "fault",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Person",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("is_active", models.BooleanField(default=True)),
            ],
            options={
                "verbose_name": "person",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Recipe",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
            ],
            options={
                "verbose_name": "recipe",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Shop",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200)),
                ("is_invented", models.BooleanField(default=False)),
            ],
            options={
                "verbose_name": "shop",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Table",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                (
                    "state",
                    models.CharField(
                        choices=[("planned", "planned"), ("open", "open"), ("closed", "closed")],
                        default="planned",
                        max_length=7,
                    ),
                ),
                ("opened_at", models.DateTimeField(null=True)),
                ("closed_at", models.DateTimeField(null=True)),
            ],
            options={
                "verbose_name": "table",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Attribute",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("scale_low", models.FloatField()),
                ("scale_high", models.FloatField()),
            ],
            options={
                "verbose_name": "attribute",
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("scale_low__lt", models.F("scale_high"))), name="attribute_scale"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CoffeeVersion",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("number", models.PositiveIntegerField()),
                (
                    "coffee",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="versions", to="records.coffee"
                    ),
                ),
            ],
            options={
                "verbose_name": "coffee version",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Batch",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("label", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("roasted_on", models.DateField()),
                ("green_in_kg", models.FloatField(null=True)),
                ("roasted_out_kg", models.FloatField(null=True)),
                ("green_moisture_pct", models.FloatField(null=True)),
                ("roasted_moisture_pct", models.FloatField(null=True)),
                ("colour", models.FloatField(null=True)),
                ("colour_scale", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("roast_time_s", models.FloatField(null=True)),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="batches", to="records.coffeeversion"
                    ),
                ),
            ],
            options={
                "verbose_name": "batch",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="CostsVersion",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("number", models.PositiveIntegerField(unique=True)),
                ("wrong_release", models.FloatField()),
                ("wrong_hold", models.FloatField()),
                ("one_pull", models.FloatField()),
                ("one_taste", models.FloatField()),
                ("prior_bad", models.FloatField()),
            ],
            options={
                "verbose_name": "costs version",
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("wrong_release__gte", 0)), name="costs_wrong_release"),
                    models.CheckConstraint(condition=models.Q(("wrong_hold__gte", 0)), name="costs_wrong_hold"),
                    models.CheckConstraint(condition=models.Q(("one_pull__gte", 0)), name="costs_one_pull"),
                    models.CheckConstraint(condition=models.Q(("one_taste__gte", 0)), name="costs_one_taste"),
                    models.CheckConstraint(
                        condition=models.Q(("prior_bad__gt", 0), ("prior_bad__lt", 1)), name="costs_prior_bad"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Entry",
            fields=[
                ("seq", models.BigIntegerField(primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
                ("who", models.CharField(max_length=200)),
                (
                    "action",
                    models.CharField(
                        choices=[("made", "made"), ("changed", "changed"), ("removed", "removed")], max_length=8
                    ),
                ),
                ("kind", models.CharField(max_length=40)),
                ("record", models.BigIntegerField()),
                ("title", models.TextField()),
                ("changes", models.TextField()),
                ("before", models.CharField(blank=True, max_length=64)),
                ("state", models.CharField(blank=True, max_length=64)),
                ("previous", models.CharField(max_length=64)),
                ("digest", models.CharField(max_length=64)),
                ("key_name", models.CharField(max_length=16)),
                ("seal", models.CharField(max_length=64)),
            ],
            options={
                "ordering": ("seq",),
                "indexes": [models.Index(fields=["kind", "record", "seq"], name="entry_of_record")],
                "constraints": [models.UniqueConstraint(fields=("previous",), name="entry_one_chain")],
            },
        ),
        migrations.CreateModel(
            name="GreenLot",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("origin", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("process", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("elevation_low_m", models.FloatField(null=True)),
                ("elevation_high_m", models.FloatField(null=True)),
                ("harvest", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("arrived_on", models.DateField(null=True)),
                ("green_kg", models.FloatField(null=True)),
                ("note", evenhand.records.models._fields.WordsField(null=True)),
            ],
            options={
                "verbose_name": "green lot",
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("elevation_low_m__lte", models.F("elevation_high_m"))),
                        name="green_lot_elevation",
                    ),
                    models.CheckConstraint(condition=models.Q(("green_kg__gt", 0)), name="green_lot_green_kg"),
                ],
            },
        ),
        migrations.AddField(
            model_name="coffeeversion",
            name="green_lot",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="coffees", to="records.greenlot"
            ),
        ),
        migrations.CreateModel(
            name="BatchLot",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("green_kg", models.FloatField(null=True)),
                (
                    "batch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lots", to="records.batch"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="batches", to="records.greenlot"
                    ),
                ),
            ],
            options={
                "verbose_name": "lot in a batch",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="GreenReading",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("read_on", models.DateField()),
                ("moisture_pct", models.FloatField(null=True)),
                ("moisture_method", evenhand.records.models._fields.LabelField(max_length=200, null=True)),
                ("water_activity", models.FloatField(null=True)),
                ("water_activity_c", models.FloatField(null=True)),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="readings", to="records.greenlot"
                    ),
                ),
            ],
            options={
                "verbose_name": "reading of a lot",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="LotProducer",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200)),
                ("green_kg", models.FloatField(null=True)),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="producers", to="records.greenlot"
                    ),
                ),
            ],
            options={
                "verbose_name": "producer of a lot",
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="LotVariety",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200)),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="varieties", to="records.greenlot"
                    ),
                ),
            ],
            options={
                "verbose_name": "variety of a lot",
                "abstract": False,
            },
        ),
    ]
