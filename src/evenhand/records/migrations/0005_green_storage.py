"""How green lots are stored, when they were harvested and how heavy their bags are; one reading of a lot a day."""

from typing import Any, ClassVar

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """How green lots are stored, when they were harvested and how heavy their bags are; one reading of a lot a day."""

    dependencies: ClassVar[Any] = [("records", "0004_person_role")]
    operations: ClassVar[Any] = [
        migrations.CreateModel(
            name="GreenStorage",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("stored_from", models.DateField()),
                ("temperature_c", models.FloatField(null=True)),
                ("water_activity", models.FloatField(null=True)),
                (
                    "packaging",
                    models.CharField(
                        choices=[("breathing", "breathing"), ("airtight", "airtight")], max_length=9, null=True
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="storage", to="records.greenlot"
                    ),
                ),
            ],
            options={"verbose_name": "spell of storage", "abstract": False},
        ),
        migrations.AddConstraint(
            model_name="greenstorage",
            constraint=models.UniqueConstraint(fields=("lot", "stored_from"), name="green_storage_once"),
        ),
        migrations.AddConstraint(
            model_name="greenstorage",
            constraint=models.CheckConstraint(
                condition=models.Q(("temperature_c__gte", -40), ("temperature_c__lte", 60)),
                name="green_storage_temperature_c",
            ),
        ),
        migrations.AddConstraint(
            model_name="greenstorage",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_activity__gt", 0), ("water_activity__lt", 1)),
                name="green_storage_water_activity",
            ),
        ),
        migrations.AddField(model_name="greenlot", name="bag_kg", field=models.FloatField(null=True)),
        migrations.AddField(model_name="greenlot", name="harvested_on", field=models.DateField(null=True)),
        migrations.AddConstraint(
            model_name="greenlot",
            constraint=models.CheckConstraint(condition=models.Q(("bag_kg__gt", 0)), name="green_lot_bag_kg"),
        ),
        migrations.RemoveConstraint(model_name="greenreading", name="green_reading_water_activity"),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_activity__gt", 0), ("water_activity__lt", 1)),
                name="green_reading_water_activity",
            ),
        ),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("water_activity_c__gte", -40), ("water_activity_c__lte", 60)),
                name="green_reading_water_activity_c",
            ),
        ),
        migrations.AddConstraint(
            model_name="greenreading",
            constraint=models.UniqueConstraint(fields=("lot", "read_on"), name="green_reading_once"),
        ),
    ]
