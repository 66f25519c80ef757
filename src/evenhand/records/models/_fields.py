"""Kinds of field that the folder knows and a database does not: labels, free words, moments as they were written."""

import datetime as dt
import unicodedata
from typing import Any

from django.db import models

from evenhand.records._cells import _UNPRINTABLE, MAX_LABEL_LENGTH
from evenhand.records._problems import quoted
from evenhand.records._refusals import FieldError, RecordError
from evenhand.words import Words, say

MAX_WORDS_LENGTH = 10_000


class LabelField(models.CharField):  # type: ignore[type-arg]
    """A name or code on one line, as the folder reads it: no space around it, at most 200 characters."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", MAX_LABEL_LENGTH)
        super().__init__(*args, **kwargs)


class WordsField(models.TextField):  # type: ignore[type-arg]
    """Free words; they may run over several lines."""


class MomentField(models.CharField):  # type: ignore[type-arg]
    """A day, or a day with a time, with or without its zone: kept as it was written (ISO 8601)."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 40)
        super().__init__(*args, **kwargs)

    def to_python(self, value: Any) -> Any:
        """Return the day or the day with its time that a text says."""
        if value is None or isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(value) if len(value) == len("2026-03-09") else dt.datetime.fromisoformat(value)
        except ValueError as error:
            sentence = say("{value} is no day, with or without a time, as 2026-03-09T14:05.", value=quoted(value))
            raise RecordError(sentence) from error

    def from_db_value(self, value: str | None, *_: object) -> Any:
        """Return what the database holds as a day, or a day with its time; as text where somebody spoilt it."""
        try:
            return self.to_python(value)
        except RecordError:
            return value

    def get_prep_value(self, value: Any) -> str | None:
        """Return the text that the database holds."""
        moment = self.to_python(value)
        return None if moment is None else moment.isoformat()


def plain(field: "models.Field[Any, Any]", value: Any) -> Any:
    """Return a field's value as canonical JSON can hold it; points in time are told in UTC, moments as written."""
    if isinstance(value, dt.datetime) and not isinstance(field, MomentField):
        return value.astimezone(dt.UTC).isoformat()
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    return value


def check_text(field: "models.Field[Any, Any]", value: Any) -> None:
    """Refuse a text that the folder could not give back.

    Raises
    ------
    FieldError
        When a label is empty, too long, not on one line or has space around it, or when free words hold a control
        character.
    """
    if not isinstance(value, str):
        return
    if isinstance(field, WordsField):
        reason = _why_no_words(value)
    elif isinstance(field, LabelField):
        reason = _why_no_label(value)
    else:
        return
    if reason is not None:
        raise FieldError(field.name, reason)


def _why_no_words(value: str) -> Words | None:
    if len(value) > MAX_WORDS_LENGTH:
        return say("the text is longer than {most:,} characters; shorten it.", most=MAX_WORDS_LENGTH)
    if _UNPRINTABLE.search(value.replace("\n", " ").replace("\t", " ")):
        return say("the text holds a control character; write it anew.")
    return None


def _why_no_label(value: str) -> Words | None:
    label = quoted(value)
    if not value or value != value.strip():
        return say("{label} is not allowed; a label is not empty and has no space around it.", label=label)
    if len(value) > MAX_LABEL_LENGTH:
        return say("{value} is longer than {most} characters; shorten it.", value=label, most=MAX_LABEL_LENGTH)
    if _UNPRINTABLE.search(value):
        return say("{label} holds a line break or a control character.", label=label)
    if unicodedata.normalize("NFC", value.replace("\xa0", " ")) != value:
        return say("{label} is not in composed form (NFC); write it anew.", label=label)
    return None
