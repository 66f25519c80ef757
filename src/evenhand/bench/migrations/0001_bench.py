"""Accounts, devices, tables under way, and judgements at hand."""

from typing import Any, ClassVar

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Accounts, devices, tables under way, and judgements at hand."""

    initial = True

    dependencies: ClassVar[Any] = [
        ("records", "0004_person_role"),
    ]

    operations: ClassVar[Any] = [
        migrations.CreateModel(
            name="Device",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("token_hash", models.CharField(max_length=64, unique=True)),
                ("name", models.CharField(max_length=200)),
                ("added_by", models.CharField(max_length=200)),
                ("added_at", models.DateTimeField()),
                ("until", models.DateTimeField(null=True)),
            ],
            options={
                "verbose_name": "device",
            },
        ),
        migrations.CreateModel(
            name="Judged",
            fields=[
                (
                    "batch",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="judged",
                        serialize=False,
                        to="records.batch",
                    ),
                ),
                ("seen", models.BigIntegerField()),
                ("judged_at", models.DateTimeField()),
                (
                    "decision",
                    models.CharField(
                        choices=[("release", "release"), ("taste_again", "taste again"), ("hold", "hold")],
                        max_length=11,
                    ),
                ),
                ("p_good", models.FloatField()),
                ("net_worth", models.FloatField()),
                ("text", models.TextField()),
            ],
            options={
                "verbose_name": "judgement at hand",
            },
        ),
        migrations.CreateModel(
            name="JudgingRun",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("seen", models.BigIntegerField(default=0)),
                ("asked", models.BigIntegerField(default=0)),
                ("started_at", models.DateTimeField(null=True)),
                ("finished_at", models.DateTimeField(null=True)),
                ("problem", models.TextField(blank=True, default="")),
                ("text", models.TextField(blank=True, default="")),
            ],
            options={
                "verbose_name": "judging",
            },
        ),
        migrations.CreateModel(
            name="SeasonRead",
            fields=[
                (
                    "coffee",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="season_read",
                        serialize=False,
                        to="records.coffee",
                    ),
                ),
                ("seen", models.BigIntegerField()),
                ("read_at", models.DateTimeField()),
                ("state", models.CharField(max_length=20)),
                ("html", models.TextField(blank=True, default="")),
                ("text", models.TextField(blank=True, default="")),
            ],
            options={
                "verbose_name": "season at hand",
            },
        ),
        migrations.CreateModel(
            name="Account",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                ("pin", models.CharField(blank=True, default="", max_length=128)),
                (
                    "units",
                    models.CharField(choices=[("metric", "metric"), ("us", "US")], default="metric", max_length=6),
                ),
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="account", to="records.person"
                    ),
                ),
            ],
            options={
                "verbose_name": "account",
            },
        ),
        migrations.CreateModel(
            name="FailedLogIn",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("address", models.CharField(max_length=64)),
                ("at", models.DateTimeField()),
            ],
            options={
                "indexes": [
                    models.Index(fields=["name", "at"], name="failed_by_name"),
                    models.Index(fields=["address", "at"], name="failed_by_address"),
                ],
            },
        ),
        migrations.CreateModel(
            name="TablePlan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("join_code", models.CharField(max_length=12, unique=True)),
                ("planned_by", models.CharField(max_length=200)),
                ("planned_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                (
                    "table",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="plan", to="records.table"
                    ),
                ),
            ],
            options={
                "verbose_name": "plan of a table",
            },
        ),
        migrations.CreateModel(
            name="Slot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField()),
                (
                    "service",
                    models.CharField(choices=[("black", "black"), ("milk", "milk"), ("bowl", "bowl")], max_length=5),
                ),
                ("code", models.CharField(max_length=3)),
                (
                    "batch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="slots", to="records.batch"
                    ),
                ),
                (
                    "pull",
                    models.OneToOneField(
                        null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="slot", to="records.pull"
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="slots", to="bench.tableplan"
                    ),
                ),
            ],
            options={
                "verbose_name": "pull to be made",
            },
        ),
        migrations.CreateModel(
            name="Seat",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "taster",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="seats", to="records.person"
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="seats", to="bench.tableplan"
                    ),
                ),
            ],
            options={
                "verbose_name": "seat",
            },
        ),
        migrations.CreateModel(
            name="Place",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                (
                    "seat",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="places", to="bench.seat"
                    ),
                ),
                (
                    "slot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="places", to="bench.slot"
                    ),
                ),
            ],
            options={
                "verbose_name": "place in an order",
                "constraints": [
                    models.UniqueConstraint(fields=("seat", "slot"), name="place_once"),
                    models.UniqueConstraint(fields=("seat", "position"), name="place_position_once"),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="slot",
            constraint=models.UniqueConstraint(fields=("plan", "number"), name="slot_number_once"),
        ),
        migrations.AddConstraint(
            model_name="slot",
            constraint=models.UniqueConstraint(fields=("plan", "code"), name="slot_code_once"),
        ),
        migrations.AddConstraint(
            model_name="seat",
            constraint=models.UniqueConstraint(fields=("plan", "taster"), name="seat_once"),
        ),
    ]
