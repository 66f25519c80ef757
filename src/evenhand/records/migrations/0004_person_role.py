"""The roles of people, and the shop's own list of free words."""

from typing import Any, ClassVar

from django.db import migrations, models

import evenhand.records.models._fields


class Migration(migrations.Migration):
    """The roles of people, and the shop's own list of free words."""

    dependencies: ClassVar[Any] = [
        ("records", "0003_rules"),
    ]

    operations: ClassVar[Any] = [
        migrations.CreateModel(
            name="Word",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", evenhand.records.models._fields.LabelField(max_length=200, unique=True)),
                ("is_active", models.BooleanField(default=True)),
            ],
            options={
                "verbose_name": "word",
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="person",
            name="role",
            field=models.CharField(
                choices=[("taster", "taster"), ("lead", "lead"), ("owner", "owner")], max_length=6, null=True
            ),
        ),
    ]
