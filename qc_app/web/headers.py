"""Headers that every answer carries (OWASP ASVS 5.0, chapter 3.4)."""

from flask import Flask, Response, request

from qc_app.web.build import build

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "object-src 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: the check against forged requests looks at the referrer over TLS.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=()",
    # Tells a tablet our pages from those of a network that wants to be signed in to; in JSON, "log" does.
    "X-Log": "qc",
}

ONE_YEAR = 31_536_000

PAGE_TO_KEEP = "X-Quality-Log"
"""Marks a page that a tablet may keep for when there is no network; its value is the page's build."""

KEPT_PATHS = ("/station", "/outbox", "/lot", "/material", "/instrument/check")
"""Where such pages are: the same for whoever stands there, with nobody's name in them."""


def install(app: Flask, *, secure: bool) -> None:
    """Adds the headers to every answer."""

    @app.after_request
    def add(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if secure and not _is_own_machine(request.host):
            response.headers.setdefault("Strict-Transport-Security", f"max-age={ONE_YEAR}")
        if request.endpoint != "static":
            response.headers.setdefault("Cache-Control", "no-store")
        elif response.status_code == 200:
            response.cache_control.immutable = True
        if _may_be_kept(response):
            response.headers[PAGE_TO_KEEP] = build(app)
        return response


def _may_be_kept(response: Response) -> bool:
    is_page = request.method == "GET" and response.status_code == 200 and response.mimetype == "text/html"
    return is_page and (request.path in KEPT_PATHS or request.path.startswith("/station/"))


def _is_own_machine(host: str) -> bool:
    """Whether a browser means the machine it runs on, where it must still reach what is served in the clear.

    The header holds for a name on all ports, and for an address never (RFC 6797, 8.1.1 and 8.3).
    """
    name = host.partition(":")[0]
    return name == "localhost" or name.endswith(".localhost")
