"""Labels of a table as PDF, and the QR code that they carry."""

import io
import re

import pytest
from pypdf import PdfReader

from evenhand.errors import OutputError
from evenhand.output.labels import LEAST_MODULE_MM, QUIET_MODULES, CupLabel, LabelWords, _tell, draw_qr, labels

ADDRESS = "HTTP://192.0.2.104:8000/T/HK7RWC"
CUPS = [CupLabel(1, "482", "black"), CupLabel(2, "317", "milk"), CupLabel(3, "925", "bowl")]


def _print(cups=CUPS, **changed):
    return labels("T27", cups, **{"address": ADDRESS, "join_code": "HK7RWC", **changed})


@pytest.mark.parametrize(("size", "points"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_every_cup_has_one_label_and_milk_a_caution(size, points):
    reader = PdfReader(io.BytesIO(_print(size=size, is_invented=True)))
    (page,) = reader.pages
    assert (round(page.mediabox.width), round(page.mediabox.height)) == points
    text = page.extract_text()
    for cup in CUPS:
        assert text.count(cup.code) == 1
        assert f"Pull {cup.number}" in text
    assert text.count("HK7RWC") == 3
    assert text.count("Contains milk, an allergen.") == 1
    assert text.count("Hot:") == 3
    assert "Invented data" in text


def test_it_is_tagged_for_screen_readers_and_the_same_each_time():
    made = _print()
    assert made == _print()
    catalogue = PdfReader(io.BytesIO(made)).trailer["/Root"]
    assert catalogue["/MarkInfo"]["/Marked"] == True  # noqa: E712
    assert b"pdfuaid:part" in catalogue["/Metadata"].get_object().get_data()


@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_twelve_labels_fill_a_sheet_and_the_thirteenth_begins_another(size):
    cups = [CupLabel(number, str(200 + number), "milk") for number in range(1, 14)]
    assert len(PdfReader(io.BytesIO(_print(cups[:12], size=size))).pages) == 1
    assert len(PdfReader(io.BytesIO(_print(cups, size=size))).pages) == 2


def test_words_can_be_those_of_another_language():
    words = LabelWords(language="de", title="Schilder {table}", slot="Bezug {number}", milk="mit Milch", hot="Heiß.")
    text = PdfReader(io.BytesIO(_print(words=words))).pages[0].extract_text()
    assert "Bezug 2" in text
    assert "mit Milch" in text
    assert "Heiß." in text


def test_a_name_is_text_and_never_markup():
    made = labels("#T [1] *x* ☃𐎀", CUPS, address=ADDRESS, join_code="HK7RWC")
    assert "#T [1] *x*" in PdfReader(io.BytesIO(made)).pages[0].extract_text()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"cups": []}, "no cup"),
        ({"size": "a0"}, "not known"),
        ({"address": "HTTP://" + "X" * 400}, "too large"),
        ({"address": "HTTP://" + "X" * 9000}, "too long"),
    ],
)
def test_what_cannot_be_printed_is_refused(changed, sentence):
    with pytest.raises(OutputError, match=sentence):
        _print(**changed)


def _matrix(svg: str, modules: int) -> list[list[bool]]:
    """Read the dark modules back out of the drawing's strokes."""
    path = re.search(r'<path[^>]*stroke="#000"[^>]*d="([^"]+)"|<path[^>]*d="([^"]+)"[^>]*stroke="#000"', svg)
    assert path
    dark = [[False] * modules for _ in range(modules)]
    x = y = 0.0
    for sign, numbers in re.findall(r"([MmhH])([^MmhH]*)", path[1] or path[2]):
        found = [float(number) for number in re.findall(r"-?\d*\.?\d+", numbers)]
        if sign == "M":
            x, y = found
        elif sign == "m":
            x, y = x + found[0], y + found[1]
        else:
            for column in range(int(x), int(x + found[0])):
                dark[int(y)][column] = True
            x += found[0]
    return dark


def test_the_code_has_its_quiet_zone_its_finders_and_level_m():
    svg, modules = draw_qr(ADDRESS)
    assert f'viewBox="0 0 {modules} {modules}"' in svg
    dark = _matrix(svg, modules)
    edge = range(QUIET_MODULES)
    assert QUIET_MODULES == 4  # ISO/IEC 18004:2015, 5.3.8
    for index in range(modules):
        for margin in (*edge, *(modules - 1 - one for one in edge)):
            assert not dark[margin][index]
            assert not dark[index][margin]
    # ISO/IEC 18004:2015, 5.3.3: a finder is 7 x 7 dark, 5 x 5 light, 3 x 3 dark, in three corners.
    for top, left in ((4, 4), (4, modules - 11), (modules - 11, 4)):
        for row in range(7):
            for column in range(7):
                ring = max(abs(row - 3), abs(column - 3))
                assert dark[top + row][left + column] is (ring != 2)
    # ISO/IEC 18004:2015, 7.9: the first format bits, XORed with 101..., say the level; 00 is M, so 10 is drawn.
    assert [dark[12][4], dark[12][5]] == [True, False]


@pytest.mark.parametrize("address", [ADDRESS, "HTTPS://A-LONG-NAME-OF-A-MACHINE.LOCAL:18000/T/HK7RWC"])
def test_a_module_is_never_too_small_for_a_phone(address):
    told = _tell("T27", CUPS, address, "HK7RWC", "a4", False, LabelWords())
    assert told["qr"]["side_mm"] / draw_qr(address)[1] >= LEAST_MODULE_MM == 0.5
