"""Collects every problem of a folder as sentences, and keeps a broken file from flooding the rest."""

import difflib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from evenhand.words import Words, join, say

MAX_PROBLEMS_PER_FILE = 50
_MAX_SHOWN = 40
_MAX_COMPARED = 2000


class Problems:
    """A pad for problems and warnings, ordered by file.

    Parameters
    ----------
    places
        What to call each file in a sentence, by stem: "pulls.csv", or "season.xlsx, sheet pulls".
    """

    def __init__(self, places: Mapping[str, str]) -> None:
        self.places = dict(places)
        self._found: dict[str, list[tuple[int, str]]] = {}
        self._more: dict[str, int] = {}
        self._seen: dict[str, set[tuple[int, str]]] = {}
        self._warned: dict[str, list[str]] = {}

    def add(self, stem: str, sentence: str, row: int = 0, column: str | None = None) -> None:
        """Note a problem; a second one about the same cell is not noted."""
        if column is not None:
            seen = self._seen.setdefault(stem, set())
            if (row, column) in seen:
                return
            seen.add((row, column))
        if self.is_full(stem):
            self._more[stem] = self._more.get(stem, 0) + 1
            return
        where = self.places[stem]
        if row:
            where = say("{place}, row {row}", place=where, row=row)
        if column:
            where = say("{place}, {column}", place=where, column=column)
        self._found.setdefault(stem, []).append((row, say("{place}: {sentence}", place=where, sentence=sentence)))

    def warn(self, stem: str | None, sentence: str) -> None:
        """Note something that was read all the same; equal sentences about several files become one."""
        places = self._warned.setdefault(sentence, [])
        if stem is not None:
            places.append(self.places[stem])

    def warnings(self) -> list[str]:
        """Return all warnings, each led by the files that it is about."""
        return [
            say("{place}: {sentence}", place=join(places), sentence=sentence) if places else sentence
            for sentence, places in self._warned.items()
        ]

    def is_full(self, stem: str) -> bool:
        """Say whether further problems of this file are only counted."""
        return len(self._found.get(stem, ())) >= MAX_PROBLEMS_PER_FILE

    def sentences(self) -> list[str]:
        """Return all sentences: file by file, row by row, with the count of those left out."""
        out: list[str] = []
        for stem in self.places:
            out += [sentence for _, sentence in sorted(self._found.get(stem, ()), key=lambda pair: pair[0])]
            if stem in self._more:
                out.append(say("{place}: and {number} more.", place=self.places[stem], number=self._more[stem]))
        return out


def quoted(value: object) -> str:
    """Return a cell's content as shown in a sentence: in quotes, short, on one line, printable."""
    text = f"{value:.10g}" if isinstance(value, float) else str(value)
    if len(text) > _MAX_SHOWN:
        text = text[: _MAX_SHOWN - 3] + "..."
    return '"' + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text) + '"'


def list_unknown(names: Iterable[str], known: Sequence[str]) -> Words:
    """List names that are not known, each with what it may be a slip of; the list ends its sentence."""
    hints = [(quoted(name), find_near(name, known)) for name in names]
    listed = join(say("{name}; did you mean {near}?", name=name, near=near) if near else name for name, near in hints)
    return listed if listed.endswith("?") else say("{names}.", names=listed)


def find_near(label: str, known: Iterable[str]) -> str:
    """Return, in quotes, the known label that this one is a slip of; an empty string if there is none.

    Labels that count (Q26-009, Q26-019) are alike without being slips of each other, so the digits must agree.
    """
    names = list(known)
    if len(names) > _MAX_COMPARED:
        names = [n for n in names if _folded(n) == _folded(label)]
    exact = [n for n in names if _folded(n) == _folded(label)]
    near = exact or [
        n
        for n in difflib.get_close_matches(label[:200], names, n=5, cutoff=0.75)
        if [c for c in n if c.isdigit()] == [c for c in label if c.isdigit()]
    ]
    return quoted(near[0]) if near else ""


def alike(labels: Iterable[str]) -> list[tuple[str, ...]]:
    """Return the groups of labels that differ only in capitals, spaces, hyphens or underscores."""
    groups: dict[str, list[str]] = {}
    for label in sorted(set(labels)):
        groups.setdefault(_folded(label), []).append(label)
    return [tuple(group) for group in groups.values() if len(group) > 1]


def _folded(label: str) -> str:
    plain = unicodedata.normalize("NFKC", label).casefold()
    return "".join(c for c in plain if not c.isspace() and c not in "-_.") or plain
