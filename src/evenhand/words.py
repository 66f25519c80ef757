"""Sentences that can be said again in another language: English text that remembers its pattern and what was put in.

A sentence is made deep in the science, kept in the records of the bench, and shown on a page whose reader may have
another language. `say` gives English as ordinary text, so that a terminal, a test and a JSON file need know nothing of
languages; `tell` says the same sentence by another catalogue. Nothing here holds a language: whoever shows, chooses.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Any, Final, Self

Value = str | int | float
"""What may be put into a pattern; words among them are told in the same language."""


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language: a catalogue, and how numbers are written.

    Attributes
    ----------
    one
        Gives the pattern of a sentence in this language.
    many
        Gives the pattern for a number of things, from those for one and for many.
    decimal, group
        Signs before the decimals of a number and between its thousands.
    """

    one: Callable[[str], str]
    many: Callable[[str, str, int], str]
    decimal: str = "."
    group: str = ","


ENGLISH: Final = Tongue(one=lambda text: text, many=lambda one, many, count: one if count == 1 else many)
"""The language in which every pattern is written."""


class Words(str):
    """A text in English that can be told in another language.

    It is made by `say`, `say_many`, `join` and `capitalise`, and is a plain text to everybody else. Cutting it or
    adding to it gives plain text, which stays English: put words into a pattern instead.

    Attributes
    ----------
    pattern, many
        What it was made from, and the pattern for many things where there is one; an empty pattern joins its parts.
    number
        How many things it speaks of, where there is a pattern for many.
    values
        What was put into the pattern, by name.
    parts, between
        What was joined, and by what.
    has_capital
        Whether its first letter is made a capital.
    """

    pattern: str
    many: str | None
    number: int
    values: Mapping[str, Value]
    parts: tuple[str, ...]
    between: str
    has_capital: bool

    def __new__(cls, text: str = "", /, **made: Any) -> Self:
        """Make words from their English text and what `tell` needs."""
        new = super().__new__(cls, text)
        new.pattern, new.many, new.number = made.get("pattern", ""), made.get("many"), made.get("number", 1)
        new.values, new.parts = made.get("values", {}), made.get("parts", ())
        new.between, new.has_capital = made.get("between", ""), made.get("has_capital", False)
        return new


def say(pattern: str, /, **values: object) -> Words:
    """Say a sentence, or a part of one, in English.

    Parameters
    ----------
    pattern
        Written out where it is said, so that it can be collected for translation; ``{name}`` or ``{name:.1f}`` stands
        for a value, ``{{`` for a brace.
    **values
        Numbers, texts and words; anything else is put in as its text.

    Returns
    -------
    Words
        English, able to be told otherwise.

    Raises
    ------
    KeyError
        When the pattern names a value that is not given.
    """
    return _make(pattern=pattern, values={name: _plain(value) for name, value in values.items()})


def say_many(one: str, many: str, /, count: int, **values: object) -> Words:
    """Say a sentence on a number of things; as `say`, with a pattern for one and for many, and ``{count}`` in both."""
    held = {"count": int(count), **{name: _plain(value) for name, value in values.items()}}
    return _make(pattern=one, many=many, number=int(count), values=held)


def join(parts: Iterable[str], between: str = ", ") -> Words:
    """Join texts and words; each is told by itself, and so is what stands between them."""
    return _make(parts=tuple(parts), between=between)


def capitalise(text: str) -> Words:
    """Begin a text or words with a capital letter, in every language."""
    return _make(parts=(text,), has_capital=True)


def tell(text: str, tongue: Tongue) -> str:
    """Tell words in a language; plain text comes back as it is.

    Parameters
    ----------
    text
        Words, or any text.
    tongue
        The language. A translated pattern that cannot be filled is passed over for the English one: a slip in a
        catalogue costs a translation, never a page.
    """
    if not isinstance(text, Words):
        return text
    if text.pattern:
        values = {name: tell(value, tongue) if isinstance(value, str) else value for name, value in text.values.items()}
        pattern = tongue.one(text.pattern) if text.many is None else tongue.many(text.pattern, text.many, text.number)
        filler = _Filler(tongue)
        try:
            told = filler.vformat(pattern, (), values)
        except (KeyError, IndexError, TypeError, ValueError, OverflowError):
            fallback = text.pattern if text.many is None or text.number == 1 else text.many
            told = filler.vformat(fallback, (), values)
    else:
        between = tongue.one(text.between) if text.between.strip() else text.between
        told = between.join(tell(part, tongue) for part in text.parts)
    return told[:1].upper() + told[1:] if text.has_capital else told


def pack(words: Words) -> dict[str, Any]:
    """Pack words into what JSON can hold; see `unpack`."""
    packed: dict[str, Any] = {"pattern": words.pattern} if words.pattern else {"between": words.between}
    if words.many is not None:
        packed |= {"many": words.many, "number": words.number}
    if words.values:
        packed["values"] = {name: _pack_value(value) for name, value in words.values.items()}
    if words.parts:
        packed["parts"] = [_pack_value(part) for part in words.parts]
    if words.has_capital:
        packed["capital"] = True
    return packed


def unpack(packed: Mapping[str, Any]) -> Words:
    """Make words again from what `pack` gave.

    Raises
    ------
    KeyError, TypeError, ValueError
        When it is nothing that `pack` gave.
    """
    return _unpack(packed, _make)


def unpack_and_tell(packed: Mapping[str, Any], tongue: Tongue) -> str:
    """Tell at once what `pack` gave; as `tell` of `unpack`, without making English first.

    Raises
    ------
    KeyError, TypeError, ValueError
        When it is nothing that `pack` gave.
    """
    return tell(_unpack(packed, _make_untold), tongue)


def walk_patterns(words: str) -> Iterator[str]:
    """Give every pattern that telling the words would look up, outermost first."""
    if isinstance(words, Words):
        if words.pattern:
            yield words.pattern
        for inner in (*words.values.values(), *words.parts):
            if isinstance(inner, str):
                yield from walk_patterns(inner)


class _Filler(Formatter):
    """Fills a pattern by names alone, and writes numbers with the language's signs."""

    def __init__(self, tongue: Tongue) -> None:
        self._signs = str.maketrans({".": tongue.decimal, ",": tongue.group})

    def get_field(self, field_name: str, args: Any, kwargs: Mapping[str, Any]) -> tuple[Any, str]:
        # No attribute and no item of a value: a pattern may come out of a catalogue.
        return kwargs[field_name], field_name

    def format_field(self, value: Any, format_spec: str) -> str:
        written: str = super().format_field(value, format_spec)
        return written.translate(self._signs) if isinstance(value, int | float) else written


def _make(**made: Any) -> Words:
    """Make words with their English text."""
    return Words(tell(Words("", **made), ENGLISH), **made)


def _make_untold(**made: Any) -> Words:
    """Make words without their English text, to be told at once and thrown away."""
    return Words("", **made)


def _plain(value: object) -> Value:
    """Return a value as words, a text or one of Python's own numbers."""
    if isinstance(value, str | bool):
        return value if isinstance(value, str) else str(value)
    item = getattr(value, "item", None)  # a number of numpy's
    if item is not None and not isinstance(value, int | float):
        value = item()
    if isinstance(value, float):
        return float(value)
    return int(value) if isinstance(value, int) else str(value)


def _pack_value(value: Value) -> Any:
    return pack(value) if isinstance(value, Words) else value


def _unpack(packed: Mapping[str, Any], make: Callable[..., Words]) -> Words:
    return make(
        pattern=str(packed.get("pattern", "")),
        many=packed.get("many"),
        number=int(packed.get("number", 1)),
        values={str(name): _unpack_value(value, make) for name, value in packed.get("values", {}).items()},
        parts=tuple(str(part) if isinstance(part, str) else _unpack(part, make) for part in packed.get("parts", ())),
        between=str(packed.get("between", "")),
        has_capital=bool(packed.get("capital", False)),
    )


def _unpack_value(value: Any, make: Callable[..., Words]) -> Value:
    if isinstance(value, Mapping):
        return _unpack(value, make)
    if isinstance(value, str | int | float):
        return value
    raise TypeError(f"words cannot hold {value!r}.")
