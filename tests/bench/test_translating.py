"""A language more: what can be translated is collected, and a catalogue beside the records is spoken at once.

GNU gettext collects and compiles, and knows nothing of this project.
"""

import ast
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from evenhand.bench.languages import ENGLISH, find_languages

pytestmark = pytest.mark.slow

SOURCE = Path(__file__).parents[2] / "src"
OURS, DJANGOS = "evenhand.words", "django.utils.translation"
TEXTS = {"say": 1, "say_many": 2, "gettext": 1, "gettext_lazy": 1, "gettext_noop": 1, "ngettext": 2, "ngettext_lazy": 2}
"""What marks a text to be translated, and how many texts it takes."""

_SPEAK = """
import json, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.conf import settings
from django.test import Client
from django.utils import translation
from evenhand.bench.telling import told
from evenhand.words import say, say_many
settings.ALLOWED_HOSTS = ["testserver"]
asked = {code: Client(headers={"accept-language": code}).get("/", follow=True) for code in ("de", "en")}
pages = {code: [answer.status_code, answer.content.decode()] for code, answer in asked.items()}
with translation.override("de"):
    said = [told(say("on its target")), told(say_many("{count} step finer", "{count} steps finer", count=2)),
            told(say("{high:.1f} high", high=1.5))]
print(json.dumps({"pages": pages, "said": said}))
"""


def run(words, **environment):
    done = subprocess.run(
        [sys.executable, *words], env={**os.environ, **environment}, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def catalogue_of(tmp_path_factory):
    """Collect what can be translated, from a copy of the source: nothing is written into the project."""
    if shutil.which("xgettext") is None or shutil.which("msgfmt") is None:
        pytest.skip("needs GNU gettext")
    copy = tmp_path_factory.mktemp("source")
    shutil.copytree(SOURCE / "evenhand", copy / "evenhand", ignore=shutil.ignore_patterns("__pycache__", "locale"))
    script = f"import os; os.chdir({os.fspath(copy / 'evenhand')!r}); import django; django.setup(); "
    script += "from django.core.management import call_command as call; "
    script += "call('makemessages', locale=['de', 'xx'], no_wrap=True, verbosity=0)"
    run(["-c", script], PYTHONPATH=os.fspath(copy), DJANGO_SETTINGS_MODULE="evenhand.bench.settings")
    return lambda language: copy / "evenhand" / "bench" / "locale" / language / "LC_MESSAGES" / "django.po"


@pytest.fixture(scope="module")
def catalogue(catalogue_of) -> Path:
    return catalogue_of("de")


def read_texts(file: Path) -> list[str]:
    """Read the texts of a catalogue, those for many things too."""
    found = re.findall(r'^msgid(?:_plural)? ((?:"(?:[^"\\]|\\.)*"\n)+)', file.read_text(encoding="utf-8"), re.MULTILINE)
    return ["".join(ast.literal_eval(line) for line in one.splitlines()) for one in found]


def texts_of(file: Path) -> dict[str, str]:
    """Find each text that a file marks, under whatever name it imports what marks it, and where it stands."""
    tree, found, marks = ast.parse(file.read_text(encoding="utf-8")), {}, {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module in (OURS, DJANGOS):
            marks |= {one.asname or one.name: TEXTS[one.name] for one in node.names if one.name in TEXTS}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in marks:
            texts = [one for one in node.args[: marks[node.func.id]] if isinstance(one, ast.Constant)]
            found |= {one.value: f"{file.name}:{one.lineno}" for one in texts}
    return found


def test_every_text_that_the_source_marks_is_collected(catalogue):
    wanted = {}
    for file in sorted((SOURCE / "evenhand").rglob("*.py")):
        wanted |= texts_of(file)
    assert len(wanted) > 1000
    collected = set(read_texts(catalogue))
    assert {text: place for text, place in wanted.items() if text not in collected} == {}


def test_a_catalogue_beside_the_records_is_spoken_at_once(catalogue, tmp_path):
    """Every text is translated into itself between marks, which the first page then shows to whoever asks for them."""
    text = catalogue.read_text(encoding="utf-8")
    head, *entries = text.split("\n\n")
    head = re.sub(r'"Plural-Forms:[^"]*"', '"Plural-Forms: nplurals=2; plural=(n != 1);\\\\n"', head)
    entries += [
        'msgid "{count} step finer"\nmsgid_plural "{count} steps finer"\nmsgstr[0] ""\nmsgstr[1] ""',
        'msgid "{high:.1f} high"\nmsgstr ""',
    ]
    compile_into(tmp_path / "locale" / "de" / "LC_MESSAGES", "\n\n".join([head, *map(mark, entries)]) + "\n")
    found = json.loads(run(["-c", _SPEAK], EVENHAND_DATA=os.fspath(tmp_path)))
    assert found["said"] == ["⟦on its target⟧", "⟦2 steps finer⟧", "⟦1,5 high⟧"]
    (status, english), (status_too, german) = found["pages"]["en"], found["pages"]["de"]
    assert status == status_too == 200
    assert "⟦" not in english
    assert re.search("<h1>⟦[^⟧]+⟧</h1>", german)
    assert '<html lang="de">' in german


def mark(entry: str) -> str:
    """Translate an entry of a catalogue into its own text between marks."""
    texts = re.findall(r'^(msgid(?:_plural)?) ((?:"(?:[^"\\]|\\.)*"\n)+)', entry + "\n", re.MULTILINE)
    if not texts or entry.startswith("#~"):
        return entry
    said = []
    for _, lines in texts:
        text = "".join(map(ast.literal_eval, lines.splitlines()))
        # A text that begins or ends with a line break must do so in translation too.
        inner = text.strip("\n")
        said.append(json.dumps(text.replace(inner, f"⟦{inner}⟧", 1) if inner else text, ensure_ascii=False))
    lines = re.sub(r'^msgstr(?:\[\d\])? .*(?:\n".*")*', "", entry, flags=re.MULTILINE).rstrip()
    strings = [f"msgstr {said[0]}"] if len(said) == 1 else [f"msgstr[{n}] {one}" for n, one in enumerate(said)]
    return "\n".join([lines.strip("\n"), *strings])


HEAD = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n"Plural-Forms: {plural}\\n"\n'


def compile_into(place: Path, text: str) -> Path:
    place.mkdir(parents=True)
    file = place / "django.po"
    file.write_text(text, encoding="utf-8")
    subprocess.run(["msgfmt", "-o", place / "django.mo", file], check=True, capture_output=True)
    return file


def test_a_language_that_nobody_knows_gets_plurals_like_english(catalogue_of):
    """Else the first page in that language would fail; GNU gettext compiles it without a word."""
    assert "nplurals=2; plural=(n != 1);" in catalogue_of("xx").read_text(encoding="utf-8")
    assert "EXPRESSION" not in catalogue_of("xx").read_text(encoding="utf-8")


def test_languages_are_found_by_their_catalogues(tmp_path, caplog):
    for name in ("de", "pt_BR", "xx", "en_GB"):
        compile_into(tmp_path / name / "LC_MESSAGES", HEAD.format(plural="nplurals=2; plural=(n != 1);"))
    (tmp_path / "fr" / "LC_MESSAGES").mkdir(parents=True)  # not compiled yet
    compile_into(tmp_path / "nl" / "LC_MESSAGES", HEAD.format(plural="nplurals=INTEGER; plural=EXPRESSION;"))
    (tmp_path / "it" / "LC_MESSAGES").mkdir(parents=True)
    (tmp_path / "it" / "LC_MESSAGES" / "django.mo").write_bytes(b"cut off")
    found = find_languages([tmp_path, tmp_path / "nowhere"])
    assert [name in caplog.text for name in ("/it/", "/nl/", "/de/")] == [True, True, False]
    assert found[: len(ENGLISH)] == ENGLISH
    assert found[len(ENGLISH) :] == [("de", "Deutsch"), ("pt-br", "Português Brasileiro"), ("xx", "xx")]
