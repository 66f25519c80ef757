"""Writes rows of a folder into the records and counts what came of each: new, changed, or as it was."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from evenhand.records.audit import Pen, head
from evenhand.records.models import Kept

V = TypeVar("V", bound=Kept)

Label = Any
"""What tells a row apart: the value of its key column, or a tuple of values where there are several."""


@dataclass(slots=True)
class Count:
    """How many rows of one file were new, changed a record, or said what the records say."""

    new: int = 0
    changed: int = 0
    same: int = 0


@dataclass(slots=True)
class RowWriter:
    """Brings rows into the records in one person's name.

    Attributes
    ----------
    counts
        By file of the folder, in the order in which they were begun.
    """

    pen: Pen
    counts: dict[str, Count] = field(default_factory=dict)
    _same: dict[str, set[Label]] = field(default_factory=dict)

    def count(self, stem: str) -> Count:
        """Return the count of a file."""
        return self.counts.setdefault(stem, Count())

    def versioned(self, stem: str, revise: Callable[..., V], *args: Any, **values: Any) -> V:
        """Let a version be written, and count what came of it."""
        count = self.count(stem)
        before = head()[0]
        version = revise(self.pen, *args, **values)
        if head()[0] == before:
            count.same += 1
        elif getattr(version, "number", 1) == 1:
            count.new += 1
        else:
            count.changed += 1
        return version

    def named(self, model: type[Kept], names: Iterable[str], **values: Any) -> dict[str, int]:
        """Write what is not there yet of records that a folder knows by name alone; return their numbers."""
        held = {str(row): int(row.pk) for row in model._default_manager.all()}
        missing = [name for name in dict.fromkeys(names) if name not in held]
        build: Callable[..., Kept] = model
        made = self.pen.make_many([(build(name=name, **values), {}) for name in missing])
        return held | {name: int(row.pk) for name, row in zip(missing, made, strict=True)}

    def put(
        self, stem: str, model: type[Kept], key: str | Sequence[str], wanted: Mapping[Label, Mapping[str, Any]]
    ) -> dict[Label, int]:
        """Write new records and change those that differ; an empty value changes nothing.

        Parameters
        ----------
        stem
            The file that the rows are counted under.
        model
            The sort of record.
        key
            The field, or the fields, that tell its records apart.
        wanted
            The other fields of each row by its label.

        Returns
        -------
        dict
            The numbers of all records of this sort by label.
        """
        count, same = self.count(stem), self._same.setdefault(stem, set())
        fields = (key,) if isinstance(key, str) else tuple(key)
        held = {_label(row, fields): row for row in model._default_manager.all()}
        new: list[tuple[Kept, dict[str, list[Kept]]]] = []
        for label, values in wanted.items():
            if label not in held:
                named = zip(fields, label if len(fields) > 1 else (label,), strict=True)
                new.append((model(**dict(named), **values), {}))
                continue
            row = held[label]
            changes = {n: v for n, v in values.items() if v is not None and getattr(row, n) != v}
            if changes:
                self.pen.change(row, **changes)
                count.changed += 1
            else:
                same.add(label)
                count.same += 1
        count.new += len(new)
        made = self.pen.make_many(new)
        numbers = {label: int(row.pk) for label, row in held.items()}
        return numbers | {_label(row, fields): int(row.pk) for row in made}

    def touch(self, stem: str, label: Label) -> None:
        """Note that a row which was as it stood changed after all, in what another table holds of it."""
        if label in self._same.get(stem, set()):
            self._same[stem].remove(label)
            self.counts[stem].same -= 1
            self.counts[stem].changed += 1


def _label(row: Kept, fields: tuple[str, ...]) -> Label:
    values = tuple(getattr(row, name) for name in fields)
    return values if len(values) > 1 else values[0]


def values_of(row: Any, names: Iterable[str]) -> dict[str, Any]:
    """Return the named columns of a row."""
    return {name: getattr(row, name) for name in names}
