"""Import with a dry run, export, a copy of the database; none of them unblinds a table."""

import io
import re
import sqlite3
import zipfile
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from evenhand.bench.models import Slot, TablePlan
from evenhand.bench.setup import uploads
from evenhand.errors import EvenhandError
from evenhand.records.folder import read
from evenhand.records.models import Batch, Cup, Entry, Pull, Table


@pytest.fixture
def data(settings, tmp_path):
    settings.DATA = tmp_path / "data"
    return settings.DATA


@pytest.fixture
def owner(client_as, data):
    return client_as("Una")


@pytest.fixture
def open_table(shop, pen):
    """A table that is open, with one cup poured and scored by somebody."""
    from evenhand.records.models import Person
    from evenhand.records.sheets import take_sheet

    table = pen.make(Table(name="T27", state="open"))
    plan = TablePlan.objects.create(table=table, join_code="K7W2", planned_by="Una", planned_at=timezone.now())
    batch = Batch.objects.get(label="H-02")
    pull = pen.make(Pull(label="H-02-1", batch=batch, pulled_at=pen.today, dose_g=18, beverage_g=36, time_s=28))
    Slot.objects.create(plan=plan, number=1, batch=batch, service="black", code="482", pull=pull)
    cup = pen.make(Cup(code="T27-482", pull=pull, service="black", table=table))
    ida = Person.objects.get(name="Ida")
    take_sheet(pen, client_id="s1", cup=cup, taster=ida, scores={"acidity": 7.25}, faults={}, words="very plum")
    return table


def zipped(folder, **changes):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for file in sorted(folder.iterdir()):
            text = file.read_text(encoding="utf-8")
            archive.writestr(f"Bell Yard/{file.name}", changes.get(file.stem, text))
        archive.writestr("Bell Yard/notes.txt", "hello")
        archive.writestr("__MACOSX/._pulls.csv", "hello")
    return SimpleUploadedFile("season.zip", content.getvalue())


def test_an_import_is_looked_at_and_then_done(owner, data, folder):
    batches = (folder / "batches.csv").read_text() + "H-03,Hollow Lantern,2026-05-25,6,5.1\n"
    before = Entry.objects.count()
    page = owner.post("/setup/import/", {"file": zipped(folder, batches=batches)})
    text = page.content.decode()
    assert "batches: 1 new, 0 changed, 4 as they were." in text
    assert "notes.txt" in text
    assert "Do not import</button>" in text
    assert Entry.objects.count() == before
    assert len(list((data / "tmp").iterdir())) == 1
    answer = owner.post("/setup/import/now/", {"now": "1"}, follow=True)
    assert "Imported." in answer.content.decode()
    assert Batch.objects.filter(label="H-03").exists()
    assert Entry.objects.latest("seq").who == "Una"
    assert list((data / "tmp").iterdir()) == []
    assert "send it again" in owner.post("/setup/import/now/", {"now": "1"}).content.decode()


def test_an_import_can_be_let_go(owner, data, folder):
    owner.post("/setup/import/", {"file": zipped(folder)})
    before = Entry.objects.count()
    owner.post("/setup/import/now/")
    assert list((data / "tmp").iterdir()) == []
    assert Entry.objects.count() == before


def test_all_errors_are_listed_and_nothing_is_kept(owner, data, folder):
    pulls = (folder / "pulls.csv").read_text().replace("18.1", "x").replace("17.9", "-2")
    page = owner.post("/setup/import/", {"file": zipped(folder, pulls=pulls)})
    assert page.status_code == 422
    text = page.content.decode()
    assert "pulls.csv, row 2, dose_g" in text
    assert "pulls.csv, row 3, dose_g" in text
    assert "2 problems" in text
    assert list((data / "tmp").iterdir()) == []


def test_what_an_import_says_is_told_in_the_language_of_the_page(owner, data, folder, monkeypatch):
    monkeypatch.setattr("evenhand.bench.telling.gettext", lambda text: f"⟦{text}⟧")
    pulls = (folder / "pulls.csv").read_text()
    wrong = owner.post("/setup/import/", {"file": zipped(folder, pulls=pulls.replace("18.1", "-1"))}).content.decode()
    where = "⟦⟦⟦pulls.csv, row 2⟧, dose_g⟧: "
    assert f"<li>{where}⟦&quot;-1&quot; is not allowed; ⟦a dose is more than 0 g⟧.⟧⟧</li>" in wrong
    remark = owner.post("/setup/import/", {"file": zipped(folder, pulls=pulls.replace("pull,", "pull,mood,", 1))})
    assert "⟦pulls.csv, row 2⟧: ⟦this row has" in remark.content.decode()
    report = owner.post("/setup/import/", {"file": zipped(folder)}).content.decode()
    assert re.search(r"<li>⟦pulls: \d+ new, \d+ changed, \d+ as they were.⟧</li>", report)
    done = owner.post("/setup/import/now/", {"now": "1"}, follow=True).content.decode()
    assert re.search(r"Imported. ⟦\w+: \d+ new", done)


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("season.csv", b"a", "this is neither"),
        ("season.zip", b"not a zip", "cannot be unpacked"),
        ("season.xlsx", b"not a workbook", "season.xlsx"),
        ("../../season.zip", b"PK", "cannot be unpacked"),
    ],
)
def test_what_is_no_folder_and_no_workbook_is_refused(owner, data, name, content, sentence):
    page = owner.post("/setup/import/", {"file": SimpleUploadedFile(name, content)})
    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert not list((data / "tmp").glob("*"))


def test_a_zip_writes_nowhere_else_and_has_a_limit(data, monkeypatch):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../pulls.csv", "pull\n")
        archive.writestr("/etc/evil.csv", "x")
    kept = uploads.keep(data, SimpleUploadedFile("a.zip", content.getvalue()))
    assert sorted(p.name for p in kept.path.iterdir()) == ["pulls.csv"]
    assert kept.left_out == ("evil.csv",)
    assert kept.path.is_relative_to(data / "tmp")
    monkeypatch.setattr(uploads, "_MOST_BYTES", 3)
    with pytest.raises(EvenhandError, match="far more"):
        uploads.keep(data, SimpleUploadedFile("a.zip", content.getvalue()))
    with pytest.raises(EvenhandError, match="not kept any more"):
        uploads.find(data, "../" + kept.token)
    uploads.sweep(data, older_s=3600)
    assert uploads.find(data, kept.token).path == kept.path
    uploads.sweep(data, older_s=-1)
    with pytest.raises(EvenhandError, match="not kept any more"):
        uploads.find(data, kept.token)


def test_the_zip_reads_back_as_the_records(owner, tmp_path, folder, pen):
    answer = owner.post("/setup/export/zip/")
    assert answer["Content-Disposition"].startswith('attachment; filename="bell-yard-')
    with zipfile.ZipFile(io.BytesIO(answer.getvalue())) as archive:
        archive.extractall(tmp_path / "back")
    (back,) = (tmp_path / "back").iterdir()
    assert set(read(back, today=pen.today).sheets) == set(read(folder, today=pen.today).sheets)
    assert read(back, today=pen.today).invented == read(folder, today=pen.today).invented


def test_the_workbook_reads_back_as_the_records(owner, tmp_path, folder, pen):
    answer = owner.post("/setup/export/xlsx/")
    place = tmp_path / "back.xlsx"
    place.write_bytes(answer.getvalue())
    assert set(read(place, today=pen.today).pulls) == set(read(folder, today=pen.today).pulls)
    assert owner.post("/setup/export/pdf/").status_code == 404


def test_an_export_leaves_open_tables_out(owner, open_table):
    assert "T27" in owner.get("/setup/export/").content.decode()
    with zipfile.ZipFile(io.BytesIO(owner.post("/setup/export/zip/").getvalue())) as archive:
        texts = {name: archive.read(name).decode() for name in archive.namelist()}
    assert not [name for name, text in texts.items() if "482" in text or "7.25" in text]
    assert any("H-02-1" in text for text in texts.values())


def test_a_copy_is_not_made_while_a_table_is_open(owner, open_table, pen, settings, tmp_path, monkeypatch):
    file = tmp_path / "records.sqlite3"
    database = sqlite3.connect(file)
    database.execute("CREATE TABLE note (words TEXT)")
    database.execute("INSERT INTO note VALUES ('kept')")
    database.commit()
    database.close()
    monkeypatch.setitem(settings.DATABASES["default"], "NAME", str(file))
    answer = owner.post("/setup/export/backup/", follow=True)
    assert "close or remove first T27" in answer.content.decode()
    pen.change(open_table, state="closed")
    answer = owner.post("/setup/export/backup/")
    copy = tmp_path / "copy.sqlite3"
    copy.write_bytes(answer.getvalue())
    with sqlite3.connect(copy) as database:
        assert database.execute("SELECT words FROM note").fetchall() == [("kept",)]
    assert Path(file).exists()


@pytest.mark.parametrize("kind", ["", "cup", "sheet", "pull", "table"])
def test_the_history_tells_no_code_of_an_open_table(owner, open_table, pen, kind):
    text = owner.get(f"/setup/history/?kind={kind}").content.decode()
    assert "T27-482" not in text
    assert "7.25" not in text
    assert "very plum" not in text
    if kind == "cup":
        assert "on table T27, told when it closes" in text
    pen.change(open_table, state="closed")
    if kind in ("", "cup"):
        assert "T27-482" in owner.get(f"/setup/history/?kind={kind}").content.decode()


@pytest.mark.parametrize("state", ["open", "planned"])
def test_nothing_is_imported_while_cups_stand_on_a_table(owner, data, folder, open_table, pen, state):
    """A trial run would tell whether a guessed pull is right for a code; a real one would move the cup."""
    pen.change(open_table, state=state)
    cups = (folder / "cups.csv").read_text() + "T27-482,F-01-1,black,T27,1\n"
    before = Entry.objects.count()
    page = owner.post("/setup/import/", {"file": zipped(folder, cups=cups)})
    assert page.status_code == 422
    text = page.content.decode()
    assert "close or remove first T27" in text
    assert "cups:" not in text
    assert not list((data / "tmp").glob("*"))
    pen.change(open_table, state="closed")
    owner.post("/setup/import/", {"file": zipped(folder)})
    pen.change(open_table, state=state)
    before = Entry.objects.count()
    page = owner.post("/setup/import/now/", {"now": "1"})
    assert page.status_code == 422
    assert "close or remove first T27" in page.content.decode()
    assert Entry.objects.count() == before


def test_a_table_that_is_planned_alone_is_no_hindrance(owner, data, folder, pen):
    pen.make(Table(name="T28", state="planned"))
    assert owner.post("/setup/import/", {"file": zipped(folder)}).status_code == 200


@pytest.mark.parametrize(
    ("method", "skipped"),  # a stream of LZMA begins with nine bytes that name its properties (APPNOTE 5.8.8)
    [(zipfile.ZIP_DEFLATED, 0), (zipfile.ZIP_LZMA, 9), (zipfile.ZIP_BZIP2, 9), (zipfile.ZIP_STORED, 0)],
)
def test_a_zip_with_broken_insides_is_refused_and_thrown_away(owner, data, method, skipped):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", method) as archive:
        archive.writestr("pulls.csv", "pull,batch\n" + "H-01-1,H-01\n" * 50)
    whole = bytearray(content.getvalue())
    start = 30 + len("pulls.csv") + skipped  # past the local header (APPNOTE 4.3.7)
    whole[start : start + 20] = b"\xff" * 20
    page = owner.post("/setup/import/", {"file": SimpleUploadedFile("season.zip", bytes(whole))})
    assert page.status_code == 422
    assert "cannot be unpacked" in page.content.decode()
    assert not list((data / "tmp").glob("*"))
