"""The PDF is tagged, in the right size, the same every time, and prints what a user typed as typed."""

import io
import subprocess
import sys
from dataclasses import replace

import pypdf
import pytest

from evenhand.errors import OutputError
from evenhand.output import paper as paper_module
from evenhand.output.paper import Signed, paper

POINTS = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}  # ISO 216 A4, 210 mm x 297 mm; ANSI/ASME Y14.1 size A


def read(content):
    return pypdf.PdfReader(io.BytesIO(content))


def text_of(content):
    words = " ".join(sheet.extract_text() for sheet in read(content).pages)
    return " ".join(words.replace("\N{NO-BREAK SPACE}", " ").split())


def walk_tags(node):
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, pypdf.generic.ArrayObject):
        for child in node:
            yield from walk_tags(child)
    elif isinstance(node, pypdf.generic.DictionaryObject):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from walk_tags(node["/K"])


@pytest.fixture(scope="module")
def a4(judgement):
    return paper(judgement)


@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_every_sheet_has_the_size_asked_for(judgement, size):
    for sheet in read(paper(judgement, size)).pages:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(POINTS[size], abs=0.05)


def test_it_is_tagged_and_says_so(a4):
    catalogue = read(a4).trailer["/Root"]
    assert catalogue["/MarkInfo"]["/Marked"] is True or catalogue["/MarkInfo"]["/Marked"].value is True
    assert catalogue["/Lang"].lower().startswith("en")
    assert catalogue["/ViewerPreferences"]["/DisplayDocTitle"]
    metadata = catalogue["/Metadata"].get_object().get_data().decode()
    assert "pdfuaid:part" in metadata


def test_title_and_date_are_those_of_the_judgement(a4):
    about = read(a4).metadata
    assert about.title == "Lantern Yard, spring season: verdicts"
    assert about.creation_date.date().isoformat() == "2031-04-02"


def test_charts_are_figures_with_words_and_tables_have_headings(a4, judgement):
    tags = list(walk_tags(read(a4).trailer["/Root"]["/StructTreeRoot"]["/K"]))
    kinds = [tag["/S"] for tag in tags]
    figures = [str(tag["/Alt"]) for tag in tags if tag["/S"] == "/Figure"]
    shown = sum(2 if v.decision != "release" else 1 for v in judgement.batches)
    assert len(figures) == shown
    assert any(
        "Profile of EX-2403 at the house recipe. Outside tolerance: bitterness in black" in alt for alt in figures
    )
    assert kinds.count("/H2") == len(judgement.batches)
    assert kinds.count("/TH") > 0
    assert kinds.count("/Table") == kinds.count("/THead")


def test_it_says_what_the_judgement_says(a4, judgement):
    text = text_of(a4)
    for verdict in judgement.batches:
        assert text.count(verdict.batch) >= 3  # overview, its own section, the table to sign
    for words in (
        "9 batches: 2 hold, 2 taste again, 5 release.",
        "Smoky was heard in 4 of 12 reports",
        "Sign-off",
        "Signature",
    ):
        assert words in text
    for words in ("Only 6 batches of Long Ladder", "Elm at table T2", "Pull 3: Time 3.6 tolerances over", "Page 1 of"):
        assert words in text
    verdict = next(v for v in judgement.batches if v.batch == "EX-2403")
    for row in verdict.profile:
        assert (
            f"{row.estimate:.2f} {row.lower90:.2f} to {row.upper90:.2f} {row.target:.2f} ± {row.tolerance:.2f}" in text
        )


def test_a_verdict_that_was_signed_is_printed_with_who_signed_it_and_why(judgement, a4):
    signed = Signed(decision="hold", name="Una Marl", day="2026-06-02", note="Smoky, all three of us. #strong[no]")
    shown = text_of(paper(judgement, signed={"EX-2403": signed}))
    assert "Una Marl" in shown
    assert "signed on the bench" in shown
    assert "2026-06-02" in shown
    assert "Smoky, all three of us. #strong[no]" in shown
    assert "signed on the bench" not in text_of(a4)


def test_the_same_judgement_gives_the_same_bytes(judgement, a4):
    assert paper(judgement) == a4
    assert paper(replace(judgement, title="another")) != a4


def test_a_season_stays_within_its_pages(build_judgement):
    assert len(read(paper(build_judgement(batches=60))).pages) <= 36


def test_invented_data_is_marked_on_every_sheet(a4, judgement):
    assert all("Invented data" in sheet.extract_text() for sheet in read(a4).pages)
    assert "nvented" not in text_of(paper(replace(judgement, invented=False)))


def test_what_a_user_typed_is_printed_and_not_run(hostile, judgement):
    assert len(read(paper(hostile)).pages) > 1
    shown = text_of(paper(replace(judgement, title='#strong[a] *b* _c_ $d$ "e" \\ @f <g> `h`', warnings=("= i",))))
    assert '#strong[a] *b* _c_ $d$ "e" \\ @f <g> `h`' in shown
    assert "= i" in shown


def test_letters_that_no_font_has_are_replaced_and_it_is_said(judgement, monkeypatch):
    set_type = paper_module._typeset
    monkeypatch.setattr(
        paper_module,
        "_typeset",
        lambda source, data, day, *, system_fonts: set_type(source, data, day, system_fonts=False),
    )
    nasty = replace(judgement.batches[3], coffee="Ge'ez ፐ and Жé")
    text = text_of(paper(replace(judgement, batches=(nasty,))))
    assert "Ge'ez \N{REPLACEMENT CHARACTER} and Жé" in text
    assert "Some letters of names cannot be printed" in text
    assert "Some letters of names" not in text_of(paper(judgement))


def test_nothing_judged_and_a_day_that_is_no_date(build_judgement, judgement):
    empty = paper(build_judgement(batches=0))
    assert "No batch was judged." in text_of(empty)
    assert read(paper(replace(judgement, judged_on="last Tuesday"))).metadata.title


def test_an_unknown_size_is_refused(judgement):
    with pytest.raises(OutputError, match="choose a4 or us-letter"):
        paper(judgement, "a5")


def test_a_batch_without_any_tasting(build_judgement):
    one = build_judgement(batches=4)
    bare = tuple(replace(v, profile=(), faults=(), pulls=(), tasted=(), reasons=()) for v in one.batches)
    text = text_of(paper(replace(one, batches=bare, variances=(), caffeine=())))
    for words in ("No attribute was scored.", "No fault was asked for.", "No pull was recorded.", "Not tasted."):
        assert words in text


def test_the_typesetter_is_loaded_only_when_paper_is_made():
    code = "import sys, evenhand.output.page, evenhand.output.paper; print('typst' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
