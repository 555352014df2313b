"""Files in and out: schedules and readings to import, readings to export, the handover packet."""

from flask import Blueprint, Response, current_app, redirect, render_template, request, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired
from werkzeug.utils import secure_filename
from werkzeug.wrappers import Response as AnyResponse

from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, reading_session
from qc_app.work import find, uploads
from qc_app.work.roles import Act

pages = Blueprint("files", __name__)

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class UploadForm(FlaskForm):
    """A file to import."""

    file = FileField(_l("CSV or XLSX file"), [FileRequired(_l("Choose a file."))])


@pages.get("/file")
@allow(Act.EXPORT)
def files() -> str:
    return _page({what: UploadForm(prefix=what) for what in uploads.IMPORTABLE})


@pages.post("/file/<what>")
@allow(Act.IMPORT)
def upload(what: str) -> str | AnyResponse | tuple[str, int]:
    """Takes a file in and shows what is in it; nothing is imported yet."""
    uploads.importable(what)
    forms = {kind: UploadForm(prefix=kind) for kind in uploads.IMPORTABLE}
    form = forms[what]
    if form.validate_on_submit():
        try:
            content = form.file.data.read()
            name = secure_filename(form.file.data.filename or "") or "file"
            kept = uploads.keep_upload(database(), person().id, what, name, content, now())
            return redirect(url_for("files.uploaded", upload_id=kept))
        except Refusal as refusal:
            take_refusal(form, refusal, "file")
    return _page(forms), 400


@pages.get("/file/upload/<int:upload_id>")
@allow(Act.IMPORT)
def uploaded(upload_id: int) -> str:
    session = reading_session()
    shown = find.upload(session, person(), upload_id)
    return render_template(
        "upload.html", upload=shown, examined=uploads.examine(session, person(), shown, now())
    )


@pages.post("/file/upload/<int:upload_id>/take")
@allow(Act.IMPORT)
def take(upload_id: int) -> AnyResponse:
    uploads.take(database(), person().id, upload_id, now())
    return redirect(url_for("files.uploaded", upload_id=upload_id))


@pages.get("/file/upload/<int:upload_id>/bad-rows.csv")
@allow(Act.IMPORT)
def bad_rows(upload_id: int) -> Response:
    from qc_app.work.sheet import bad_rows_csv

    session = reading_session()
    shown = find.upload(session, person(), upload_id)
    examined = uploads.examine(session, person(), shown, now())
    return _download(bad_rows_csv(examined.bad), "text/csv", f"bad-rows-{shown.id}.csv")


@pages.get("/file/readings.csv")
@allow(Act.EXPORT)
def readings_csv() -> Response:
    from qc_app.work import export

    return _download(export.readings_csv(reading_session(), person()), "text/csv", "readings.csv")


@pages.get("/file/readings.xlsx")
@allow(Act.EXPORT)
def readings_xlsx() -> Response:
    from qc_app.work import export

    return _download(export.readings_xlsx(reading_session(), person()), XLSX, "readings.xlsx")


@pages.get("/building/<int:building_id>/packet.pdf")
@allow(Act.HAND_OVER)
def packet(building_id: int) -> Response:
    from qc_app.work.hand_over import take_packet

    building = find.building(reading_session(), person(), building_id)
    content = take_packet(database(), person().id, building_id, now(), _verify_address())
    return _download(content, "application/pdf", f"packet-{secure_filename(building.code)}.pdf")


def _verify_address() -> str:
    """Where anybody asks about a release, at the host by which this page was opened."""
    scheme = "https" if current_app.config["SESSION_COOKIE_SECURE"] else request.scheme
    return url_for("verify.release", sha256="", _external=True, _scheme=scheme)


def _page(forms: dict[str, UploadForm]) -> str:
    return render_template("files.html", forms=forms, importable=uploads.IMPORTABLE)


def _download(content: bytes, mimetype: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, mimetype=mimetype, headers=disposition)
