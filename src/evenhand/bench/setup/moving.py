"""Pages that bring records in and out: import with a dry run, export, and a copy of the database."""

import datetime as dt
import io
import tempfile
import zipfile
from pathlib import Path
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST

from evenhand.bench.forms import BenchForm
from evenhand.bench.hub import hint
from evenhand.bench.people.roles import account_of, by_password, needs, pen_of
from evenhand.bench.people.sessions import is_by_pin
from evenhand.bench.people.views import redirect_to
from evenhand.bench.setup import uploads
from evenhand.bench.setup.blind import open_tables, tables_in_use, without_open_tables
from evenhand.bench.telling import told as in_words
from evenhand.errors import EvenhandError, FolderError
from evenhand.records._refusals import RecordError
from evenhand.records.audit import writing
from evenhand.records.database import backup as copy_database
from evenhand.records.exporting import collect, write_folder, write_workbook
from evenhand.records.importing import import_path
from evenhand.records.models import Shop

_UPLOAD = "upload"
_ZIP, _XLSX = "zip", "xlsx"


class UploadForm(BenchForm):
    """The file to import."""

    file = forms.FileField(
        label=_("Zip file of the folder, or XLSX workbook"),
        help_text=_("Nothing is written yet: you see first what would change."),
    )


@needs("owner")
@by_password
def bring_in(request: HttpRequest) -> HttpResponse:
    """Take an upload, read it, and show what an import would do."""
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    told: dict[str, Any] = {"form": form, "by_pin": is_by_pin(request)}
    if form.is_bound and form.is_valid():
        _forget(request)
        try:
            _refuse_in_use()
            kept = uploads.keep(settings.DATA, form.cleaned_data["file"])
            request.session[_UPLOAD] = kept.token
            told |= {"report": import_path(pen_of(request), kept.path, dry_run=True), "left_out": kept.left_out}
        except FolderError as error:
            _forget(request)
            form.add_error("file", _now("The file has problems; they are listed below. Nothing was written."))
            told["problems"] = error.problems
        except EvenhandError as error:
            _forget(request)
            form.refuse(error)
    return render(request, "bench/setup/import.html", told, status=422 if form.errors else 200)


@require_POST
@needs("owner")
@by_password
def bring_in_now(request: HttpRequest) -> HttpResponse:
    """Import what was looked at, or throw it away."""
    if "now" not in request.POST:
        _forget(request)
        messages.info(request, _now("Nothing was written; the upload is gone."))
        return redirect_to("setup:import")
    try:
        kept = uploads.find(settings.DATA, request.session.get(_UPLOAD, ""))
        with writing():  # no table opens between the question and the import
            _refuse_in_use()
            report = import_path(pen_of(request), kept.path, dry_run=False)
    except EvenhandError as error:
        form = UploadForm({}, {})
        form.full_clean()
        form.errors.clear()
        problems = error.problems if isinstance(error, FolderError) else ()
        moved_on = _now("The records have moved on, and the import is refused.")
        form.add_error(None, moved_on if problems else in_words(error))
        return render(request, "bench/setup/import.html", {"form": form, "problems": problems}, status=422)
    finally:
        _forget(request)
    hint("today")
    messages.success(request, " ".join([_now("Imported."), *map(in_words, report.lines())]))
    return redirect_to("setup:import")


@needs("lead")
def take_out(request: HttpRequest) -> HttpResponse:
    """Show what can be taken out."""
    told = {"open_tables": open_tables(), "is_owner": account_of(request).may("owner"), "is_file": _is_file()}
    told["by_pin"] = is_by_pin(request)
    return render(request, "bench/setup/export.html", told)


@require_POST
@needs("lead")
def export(request: HttpRequest, form: str) -> HttpResponseBase:
    """Give the records as a zip file of the folder, or as a workbook; cups of open tables stay out."""
    if form not in (_ZIP, _XLSX):
        raise Http404
    try:
        folder = without_open_tables(collect(), open_tables())
        name = _file_name()
        with tempfile.TemporaryDirectory() as place:
            if form == _XLSX:
                content = write_workbook(folder, Path(place) / f"{name}.xlsx").read_bytes()
            else:
                content = _zipped(write_folder(folder, Path(place) / name))
    except EvenhandError as error:
        messages.error(request, in_words(error))
        return redirect_to("setup:export")
    return FileResponse(io.BytesIO(content), as_attachment=True, filename=f"{name}.{form}")


@require_POST
@needs("owner")
@by_password
def backup(request: HttpRequest) -> HttpResponseBase:
    """Give a copy of the database, checked; never while a table is open, since a copy knows every code."""
    try:
        if not _is_file():
            raise RecordError(_now("The records are not in a file; make the copy with the database's own tools."))
        if tables := open_tables():
            raise RecordError(
                _now("A copy would tell which cup is which: close or remove first %(tables)s.")
                % {"tables": ", ".join(tables)}
            )
        with tempfile.TemporaryDirectory() as place:
            copy = copy_database(settings.DATABASES["default"]["NAME"], Path(place) / "copy.sqlite3")
            file = copy.open("rb")  # stays readable after the folder is gone
    except EvenhandError as error:
        messages.error(request, in_words(error))
        return redirect_to("setup:export")
    return FileResponse(file, as_attachment=True, filename=f"{_file_name()}.sqlite3")


def _refuse_in_use() -> None:
    """Refuse an import while cups stand on a table: a trial run tells what each code is, and a real one rewrites it."""
    if tables := tables_in_use():
        raise RecordError(
            _now("An import would tell which cup is which, and could change it: close or remove first %(tables)s.")
            % {"tables": ", ".join(tables)}
        )


def _forget(request: HttpRequest) -> None:
    uploads.drop(settings.DATA, request.session.pop(_UPLOAD, ""))


def _is_file() -> bool:
    return str(settings.DATABASES["default"]["ENGINE"]).endswith("sqlite3")


def _file_name() -> str:
    shop = Shop.objects.order_by("pk").first()
    today: dt.date = timezone.localdate()
    return f"{slugify(shop.name) if shop else ''}-{today.isoformat()}".strip("-")


def _zipped(folder: Path) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(folder.iterdir()):
            archive.write(file, f"{folder.name}/{file.name}")
    return content.getvalue()
