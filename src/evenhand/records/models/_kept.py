"""The base of every record that is kept: a pen writes it and notes who, when, from and to; nothing else can write it.

A model's own `save`, `delete`, `update` and their relatives refuse, so that no change can pass the history by mistake.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, NoReturn, Self, TypeVar

from django.db import models

from evenhand.records._refusals import FieldError, RecordError
from evenhand.records.canonical import digest
from evenhand.records.models._fields import check_text, plain
from evenhand.records.models._limits import check_number
from evenhand.words import say

_REFUSED = say("Records are written with a pen (evenhand.records.audit.Pen), which keeps who changed what, and when.")

M = TypeVar("M", bound=models.Model, covariant=True)


class KeptQuerySet(models.QuerySet[M]):
    """Reads as any query set does; every way to write refuses."""

    def _refuse(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise RecordError(_REFUSED)

    update = delete = bulk_create = bulk_update = _refuse
    aupdate = adelete = abulk_create = abulk_update = _refuse


class KeptManager(models.Manager[M]):
    """Hands out query sets that cannot write."""

    def get_queryset(self) -> KeptQuerySet[M]:
        """Return all rows of the model."""
        return KeptQuerySet(self.model, using=self._db)


class Kept(models.Model):
    """One record of the shop.

    Attributes
    ----------
    is_final
        True for what is signed or versioned: it is made once, and never changed or removed.
    parts
        Names of the relations whose rows are written with this record and belong to it, such as a sheet's scores.
    is_part
        True for such rows: they are written with their owner alone, and stand in its entry.
    row
        The row type of the folder whose limits these fields keep, if there is one.
    """

    is_final: ClassVar[bool] = False
    parts: ClassVar[tuple[str, ...]] = ()
    is_part: ClassVar[bool] = False
    row: ClassVar[type | None] = None

    id = models.BigAutoField(primary_key=True)

    objects: ClassVar[KeptManager[Self]] = KeptManager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the history would miss it."""
        raise RecordError(_REFUSED)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the history would miss it."""
        raise RecordError(_REFUSED)

    @classmethod
    def kind(cls) -> str:
        """Return the name of this sort of record in the history, such as "greenlot"."""
        return cls._meta.model_name or cls.__name__.lower()

    @classmethod
    def noun(cls) -> str:
        """Return what people call this sort of record, such as "green lot", as words."""
        return noun_of(cls)

    @classmethod
    def refuse(cls, field: str, reason: str) -> FieldError:
        """Return the error that refuses what a field of this sort of record was given."""
        return FieldError(field, reason, noun=cls.noun())

    def own_values(self) -> dict[str, Any]:
        """Return this record's own fields as plain values, by column; empty ones are left out.

        Leaving them out keeps every old digest true when a later version of the program adds a column.
        """
        found = {field.attname: plain(field, getattr(self, field.attname)) for field in self._meta.concrete_fields}
        return {name: value for name, value in found.items() if value is not None}

    def values(self, parts: Mapping[str, Sequence["Kept"]] | None = None) -> dict[str, Any]:
        """Return this record's fields, and those of its parts, as plain values.

        Parameters
        ----------
        parts
            The rows of each part, if they are at hand; read from the database if left out.
        """
        found = self.own_values()
        for name in self.parts:
            rows = getattr(self, name).all() if parts is None else parts.get(name, ())
            found[name] = [part.own_values() for part in sorted(rows, key=lambda part: int(part.pk))]
        return found

    def fingerprint(self) -> str:
        """Return the digest of this record as it stands, parts included."""
        return digest(self.values())

    def check_together(self, today: dt.date) -> None:
        """Refuse fields that do not fit each other, or a day after today; a model with such rules states them here.

        Raises
        ------
        RecordError
            When two fields clash.
        """

    def settle(self) -> None:
        """Give every field the type that the database gives back, and hold it to its limits.

        Raises
        ------
        RecordError
            When a field is missing, or holds what the folder would refuse.
        """
        for field in self._meta.concrete_fields:
            if field.primary_key:
                continue
            value = getattr(self, field.attname)
            if field.remote_field is not None:
                if value is None and not field.null:
                    reason = say("this is missing; every {noun} names one.", noun=self.noun())
                    raise self.refuse(field.name, reason)
                continue
            if value is None:
                if not field.null:
                    raise self.refuse(field.name, say("this is missing."))
                continue
            if isinstance(value, dt.datetime) and value.tzinfo is None and isinstance(field, models.DateTimeField):
                raise self.refuse(field.name, say("a point in time needs its zone."))
            value = field.to_python(value)
            setattr(self, field.attname, value)
            try:
                check_text(field, value)
                check_number(field, value, self.row)
                _check_choice(field, value)
            except FieldError as error:
                raise self.refuse(error.field, error.reason) from None


def noun_of(model: type[models.Model]) -> str:
    """Return what people call the rows of a model, as words where the model has them."""
    noun = model._meta.verbose_name
    return noun if isinstance(noun, str) else str(noun)


def _check_choice(field: "models.Field[Any, Any]", value: Any) -> None:
    allowed = [choice for choice, _ in field.flatchoices]
    if allowed and value not in allowed:
        reason = say('"{value}" is not allowed; it is one of {choices}.', value=value, choices=", ".join(allowed))
        raise FieldError(field.name, reason)
