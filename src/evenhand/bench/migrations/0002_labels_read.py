"""Who opened the labels of a table; and no judging is asked for but by the history."""

from typing import Any, ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    """Who opened the labels of a table; and no judging is asked for but by the history."""

    dependencies: ClassVar[Any] = [
        ("bench", "0001_bench"),
    ]

    operations: ClassVar[Any] = [
        migrations.AddField(
            model_name="tableplan",
            name="read_labels",
            field=models.ManyToManyField(related_name="+", to="records.person"),
        ),
        migrations.RemoveField(model_name="judgingrun", name="asked"),
    ]
