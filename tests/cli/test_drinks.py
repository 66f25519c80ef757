"""`evenhand drinks` as a user sees it: the menu, what it assumes, cautions, and refusals with status 2."""

import io

import pytest
from rich.console import Console

from evenhand.cli.drinks import SIZES, list_drink_cautions, parse_size_ml, run
from evenhand.errors import QuantityError
from evenhand.espresso.milk import ML_PER_US_FL_OZ, Shot, Steaming, find_milk, menu


def show(width=80, **options):
    written = io.StringIO()
    status = run(console=Console(file=written, width=width), **options)
    return status, written.getvalue()


def test_the_menu_with_its_defaults():
    status, text = show(width=100)
    assert status == 0
    for size in SIZES:
        assert f"{size} " in text
    row = next(line for line in text.splitlines() if "12oz" in line and "192 mg" in line)
    assert [word for word in ("32.0", "64", "2.00", "307 ±50", "20 g, 192 mg, 62.5%") if word not in row] == []
    said = " ".join(text.split())
    for assumed in (
        "16 g in, 32 g out, 10.00 % dissolved",
        "3.93 J/(g K)",
        "5 to 60 °C",
        "1.2 bar",
        "95% dry",
        "200 g",
    ):
        assert assumed in said


def test_the_cautions_are_there():
    said = " ".join(show()[1].split())
    for word in ("scald", "EFSA 2015", "pregnancy", "milk, soy, nuts, gluten in oats", "local food code", "512 mg"):
        assert word in said
    assert "carcinogenic" not in said
    assert "carcinogenic" in show(temperature_c=70.0)[1]


@pytest.mark.parametrize("width", [80, 100, 120])
def test_nothing_is_cut(width):
    text = show(width=width)[1]
    assert "…" not in text
    assert max(map(len, text.splitlines())) <= width


def test_own_shot_sizes_and_milk():
    status, text = show(dose_g=18, beverage_g=40, extraction_pct=20, sizes=("180 ML", "10OZ"), milk="oat", like="180ml")
    assert status == 0
    assert "9.00 % dissolved" in " ".join(text.split())
    assert "180 ml" in text
    assert "10oz 296 ml" in text
    assert "As strong as the 180ml drink" in text
    assert "This drink holds: oats" in text
    assert "12oz" not in text


def test_a_plain_console_gets_plain_signs():
    written = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    assert run(console=Console(file=written, width=80)) == 0
    written.flush()
    assert b"+-" in written.buffer.getvalue()


@pytest.mark.parametrize(
    ("text", "size_ml"),
    [("6oz", 6 * ML_PER_US_FL_OZ), ("180 ml", 180), ("5,5 OZ", 5.5 * ML_PER_US_FL_OZ), ("600mL", 600)],
)
def test_sizes(text, size_ml):
    assert parse_size_ml(text) == pytest.approx(size_ml)


@pytest.mark.parametrize("text", ["7", "oz", "", "2oz", "21oz", "-6oz", "6 cups", "1e3ml"])
def test_sizes_that_are_none(text):
    with pytest.raises(QuantityError):
        parse_size_ml(text)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"milk": "yak"}, "There is no milk yak"),
        ({"sizes": ("7",)}, "write a number with oz or ml"),
        ({"tds_pct": 10, "extraction_pct": 20}, "not both"),
        ({"beverage_g": 90}, "cannot dissolve"),
        ({"steam_bar": 9}, "bar absolute"),
        ({"dry_pct": 120}, "quality of steam"),
        ({"temperature_c": 3}, "heated from"),
        ({"dose_g": 0}, "more than 0 g"),
        ({"cup_g": -1}, "vessel"),
    ],
)
def test_refusals(options, words, capsys):
    status, text = show(**options)
    assert (status, text) == (2, "")
    assert words in " ".join(capsys.readouterr().err.split())


def test_how_far_it_carries(tmp_path):
    file = tmp_path / "tasted.csv"
    lines = ["taster,size_ml,heard"]
    for taster in ("Ash", "Elm", "Oak", "Yew", "Bay"):
        lines += [f"{taster},180,1"] * 4 + [f"{taster},240,1", f"{taster},240,0"] * 2 + [f"{taster},355,0"] * 4
        lines += [f"{taster},blank,0"] * 3
    file.write_text("\n".join(lines), encoding="utf-8")
    status, text = show(tasted=file)
    assert status == 0
    assert "The panel hears this coffee in drinks of up to about 2" in " ".join(text.split())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("taster,size_ml\nAsh,180\n", "the column heard is missing"),
        ("taster,size_ml,heard\nAsh,big,1\n", 'row 2, size_ml: "big"'),
        ("taster,size_ml,heard\nAsh,180,yes\n", 'row 2, heard: "yes"'),
        ("taster,size_ml,heard\n,180,1\n", "row 2, taster"),
        ("taster,size_ml,heard\nAsh,180\n", 'row 2, heard: ""'),
        ("taster,size_ml,heard\nAsh,180,1\n", "two or more sizes"),
        ("", "the column taster is missing"),
        (None, "cannot be read"),
    ],
)
def test_tastings_that_cannot_be_read(content, words, tmp_path, capsys):
    file = tmp_path / "tasted.csv"
    if content is not None:
        file.write_text(content, encoding="utf-8")
    status, text = show(tasted=file)
    assert (status, text) == (2, "")
    assert words in " ".join(capsys.readouterr().err.split())


def test_bytes_that_are_no_text(tmp_path, capsys):
    file = tmp_path / "tasted.csv"
    file.write_bytes(b"\xff\xfe\x00taster")
    assert show(tasted=file)[0] == 2
    assert "not UTF-8" in " ".join(capsys.readouterr().err.split())


def test_a_mild_menu_has_no_warning_of_too_much():
    rows = menu([180.0], Shot(), Steaming())
    text = {caution.heading: caution.text for caution in list_drink_cautions(find_milk("soy"), rows)}
    assert "most holds" not in text["Caffeine"]
    assert "soybeans" in text["Allergens"]
