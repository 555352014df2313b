"""What is served where: chosen from what was asked for at the start, then run until told to stop."""

import signal
import socket
import ssl
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from werkzeug.middleware.proxy_fix import ProxyFix

from qc_app.records.database import Database
from qc_app.refusal import Refusal
from qc_app.serve.addresses import EVERYWHERE, Machine, in_url, is_here, this_machine
from qc_app.serve.authority import Identity, server_context
from qc_app.serve.folder import certificate_file, open_authority
from qc_app.serve.gate import Gate
from qc_app.serve.listen import Listener, listening, repeating
from qc_app.web import create_app
from qc_app.web.everyone.trust import Trust

SECURE_PORT = 8443
PLAIN_PORT = 8080
RENEWAL_SECONDS = 60 * 60
"""A certificate is due at most a day after it could be, and an address may change at any time."""

Renewal = Callable[[], ssl.SSLContext]


@dataclass(frozen=True)
class Wish:
    """How to serve. ``host`` and ``port`` are None for what suits the rest."""

    host: str | None = None
    port: int | None = None
    plain_port: int = PLAIN_PORT
    tls: bool = True
    certificate: Path | None = None
    key: Path | None = None
    folder: Path | None = None
    names: tuple[str, ...] = ()
    behind_proxy: bool = False


@dataclass(frozen=True)
class Service:
    """What listens, what to say at the start, and what to do from time to time."""

    listeners: tuple[Listener, ...]
    sayings: tuple[str, ...]
    renew: Callable[[], None] | None = None


def serve(database: Database, wish: Wish) -> None:
    """Serves the pages until Ctrl-C or SIGTERM; requests that are being answered then are finished.

    Raises
    ------
    Refusal
        If it cannot be done as wished, or would not be safe.
    """
    service = prepared(database, wish)
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with suppress(KeyboardInterrupt), ExitStack() as running:
        running.enter_context(listening(service.listeners))
        if service.renew:
            running.enter_context(repeating(service.renew, RENEWAL_SECONDS))
        print(*service.sayings, "Stop with Ctrl-C.", sep="\n", flush=True)
        for_ever = threading.Event()
        while True:
            for_ever.wait(1)  # on Windows a longer wait would not notice Ctrl-C


def prepared(database: Database, wish: Wish) -> Service:
    """The service for a wish.

    Raises
    ------
    Refusal
        If it cannot be done as wished, or would not be safe.
    """
    _refuse_contradictions(wish)
    return _secured(database, wish) if wish.tls else _in_the_clear(database, wish)


def _refuse_contradictions(wish: Wish) -> None:
    if (wish.certificate is None) != (wish.key is None):
        raise Refusal("A certificate and its key go together: give both --certificate and --key, or neither.")
    if wish.certificate and not wish.tls:
        raise Refusal("Without TLS no certificate is used: leave out --certificate and --key.")
    if wish.tls and wish.behind_proxy:
        raise Refusal("Behind a proxy it is the proxy that speaks TLS: leave out --tls, or write --tls off.")


def _in_the_clear(database: Database, wish: Wish) -> Service:
    host, port = wish.host or "127.0.0.1", wish.port or PLAIN_PORT
    if not is_here(host) and wish.behind_proxy:
        raise Refusal(
            "Behind a proxy this program listens on this machine only, and {host} is open to others, who "
            "could pass themselves off as the proxy. Run the proxy on this machine.",
            host=host,
        )
    if not is_here(host):
        raise Refusal(
            "Without TLS this program listens on this machine only, and {host} is open to others. A browser "
            "gives a page its camera and its store for work without a network only over https or on the same "
            "machine. Leave out --tls off; or put a proxy that speaks TLS in front and add --behind-proxy.",
            host=host,
        )
    app = create_app(database, secure=wish.behind_proxy)
    pages = ProxyFix(app, x_for=1, x_proto=1, x_host=1) if wish.behind_proxy else app
    listener = Listener(pages, host, port)
    behind = "for the proxy " if wish.behind_proxy else ""
    return Service((listener,), (f"Quality log {behind}at http://{in_url(host)}:{port}/",))


def _secured(database: Database, wish: Wish) -> Service:
    host, port = wish.host or EVERYWHERE[0], wish.port or SECURE_PORT
    others = (*wish.names, *(() if host in EVERYWHERE else (host,)))

    def machine() -> Machine:
        return this_machine(others)

    def hosts() -> tuple[str, ...]:
        return _hosts(host, machine())

    trust = None
    if wish.certificate and wish.key:
        context = _given(wish.certificate, wish.key)
    else:
        folder = _folder(database, wish)
        authority = open_authority(folder, socket.gethostname(), _now())
        trust = Trust(authority.der(), authority.name(), hosts, port, wish.plain_port)
        context = _own(folder, authority, machine)
    secure = Listener(create_app(database, secure=True, trust=trust), host, port, context())
    plain = Listener(Gate(create_app(database, trust=trust)), host, wish.plain_port)
    sayings = (*_places(host, hosts(), port, wish.plain_port), *(_first_time(trust) if trust else ()))
    return Service((secure, plain), sayings, lambda: secure.renew(context()))


def _given(certificate: Path, key: Path) -> Renewal:
    """Reads the files anew each time, so that whoever renews them need not stop this program."""

    def context() -> ssl.SSLContext:
        try:
            return server_context(str(certificate), str(key))
        except OSError as error:
            raise Refusal(
                "The certificate {certificate} and the key {key} cannot be used: {said}.",
                certificate=certificate,
                key=key,
                said=error.strerror or error,
            ) from error

    return context


def _own(folder: Path, authority: Identity, machine: Callable[[], Machine]) -> Renewal:
    return lambda: server_context(str(certificate_file(folder, authority, machine(), _now())))


def _folder(database: Database, wish: Wish) -> Path:
    """Beside the database, unless that is elsewhere."""
    url = database.engine.url
    if wish.folder:
        return wish.folder
    if url.get_backend_name() != "sqlite" or not url.database:
        raise Refusal(
            "Name a folder on this machine that keeps its certificates with --certificate-folder, or give a "
            "certificate with --certificate and --key."
        )
    return Path(f"{url.database}.tls")


def _hosts(host: str, machine: Machine) -> tuple[str, ...]:
    """By which names tablets reach what listens on ``host``; the surest first."""
    if is_here(host):
        return ()
    return machine.hosts() if host in EVERYWHERE else tuple(dict.fromkeys([in_url(host), *machine.hosts()]))


def _places(host: str, hosts: Sequence[str], port: int, plain_port: int) -> list[str]:
    here = in_url(host) if host not in EVERYWHERE else "127.0.0.1"
    tablets = " or ".join(f"https://{one}:{port}/" for one in hosts or (here,))
    on_this_machine = f"Quality log on this machine at http://{here}:{plain_port}/"
    return [on_this_machine if is_here(here) else "Quality log", f"Over TLS at {tablets}"]


def _first_time(trust: Trust) -> list[str]:
    rows = [f"    {row}" for row in trust.fingerprint()]
    return [f"A tablet's first time: {trust.page()}", f"  Fingerprint of “{trust.name}” (SHA-256):", *rows]


def _now() -> datetime:
    return datetime.now(UTC)
