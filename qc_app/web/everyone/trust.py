"""How a tablet comes to trust the shop's own certificate authority."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import cast

from flask import Blueprint, Flask, abort, current_app, render_template, request
from flask_babel import gettext as _
from markupsafe import Markup
from werkzeug.wrappers import Response

from qc_app.web.access import allow_anybody

pages = Blueprint("trust", __name__)

_TRUST = "qc_app trust"
PAIRS_IN_A_ROW = 8


@dataclass(frozen=True)
class Trust:
    """What a tablet needs to know of the authority.

    ``certificate`` is in DER, ``name`` is what devices list it under. ``hosts`` gives the names and addresses
    by which tablets reach this machine, the surest first; it is asked each time, since addresses change.
    """

    certificate: bytes
    name: str
    hosts: Callable[[], Sequence[str]]
    secure_port: int
    plain_port: int

    def fingerprint(self) -> tuple[str, ...]:
        """SHA-256 of the certificate, in the pairs of digits that devices show, a few to a row."""
        pairs = hashlib.sha256(self.certificate).digest().hex(" ").upper().split()
        rows = range(0, len(pairs), PAIRS_IN_A_ROW)
        return tuple(" ".join(pairs[start : start + PAIRS_IN_A_ROW]) for start in rows)

    def page(self) -> str:
        """Where a tablet that does not trust yet finds the trust page."""
        return f"http://{self._surest_host()}:{self.plain_port}/trust"

    def log(self) -> tuple[str, ...]:
        """Where a tablet that trusts finds the log, the surest first."""
        return tuple(self.secure(host) for host in self.hosts() or ("localhost",))

    def secure(self, host: str) -> str:
        """Where the log is, on the machine under that name."""
        return f"https://{host}:{self.secure_port}/"

    def _surest_host(self) -> str:
        return next(iter(self.hosts()), "localhost")


def install(app: Flask, trust: Trust | None) -> None:
    """Gives the page what it shows; None where the shop has no authority of its own."""
    app.extensions[_TRUST] = trust


@pages.get("/trust")
@allow_anybody()
def page() -> str:
    trust = _trust()
    code = _code(trust.page()) if trust else None
    return render_template("trust.html", trust=trust, code=code, title=_("Trust this log on a tablet"))


@pages.get("/trust/authority.crt")
@allow_anybody()
def authority() -> Response:
    trust = _trust()
    if trust is None:
        abort(404)
    # A tablet opens the installer for this type; a name for the file is what Android's settings look for.
    headers = {"Content-Disposition": "attachment; filename=quality-log.crt"}
    return Response(trust.certificate, mimetype="application/x-x509-ca-cert", headers=headers)


@pages.get("/trust/why")
@allow_anybody()
def why() -> tuple[str, int]:
    """Instead of any page that another machine asked for in the clear."""
    trust = _trust()
    secure = trust.secure(_without_port(request.host)) if trust else None
    return render_template("trust_why.html", secure=secure, title=_("This page must be secure")), 403


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdigit() else host


def _trust() -> Trust | None:
    return cast(Trust | None, current_app.extensions[_TRUST])


def _code(address: str) -> Markup:
    """The address to be scanned, drawn without a style of its own, which the policy would not allow."""
    import segno

    drawing = segno.make_qr(address, error="m").svg_inline(
        border=4, omitsize=True, light="#fff", svgclass=None
    )
    return Markup(drawing)  # noqa: S704 (drawn here, from an address of ours)
