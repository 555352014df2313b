"""Listening for browsers: in the clear or over TLS, many at a time, until told to stop."""

import logging
import ssl
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from socket import socket
from typing import Any
from wsgiref.types import WSGIApplication

from cheroot.server import HTTPConnection
from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

from qc_app.refusal import Refusal

THREADS = 8
LARGEST_BODY = 65 * 1024 * 1024
"""Bytes; as much as the page that takes most. The pages themselves keep the others to less."""
LARGEST_HEAD = 32 * 1024
WAITING_CONNECTIONS = 200
"""How many connections may stay open between two requests; a tablet holds a few."""

SERVER_NAME = "qc-app"
"""What is said about this program to strangers: no version."""

log = logging.getLogger("qc_app.serve")


class Listener(Server):
    """A server on one port, in the clear, or over TLS where a context is given.

    Raises
    ------
    Refusal
        From ``prepare``, if the port or the address cannot be had.
    """

    max_request_body_size = LARGEST_BODY
    max_request_header_size = LARGEST_HEAD
    keep_alive_conn_limit = WAITING_CONNECTIONS
    software = SERVER_NAME

    def __init__(
        self, pages: WSGIApplication, host: str, port: int, context: ssl.SSLContext | None = None
    ) -> None:
        host = "127.0.0.1" if host == "localhost" else host
        super().__init__((host, port), pages, THREADS, SERVER_NAME, request_queue_size=64)
        if context is not None:
            self.ssl_adapter = _LateHandshake(context)
            self.ConnectionClass = _SecureConnection

    @property
    def port(self) -> int:
        """The port it listens on, once prepared."""
        return int(self.bind_addr[1])

    def renew(self, context: ssl.SSLContext) -> None:
        """From the next connection on, speaks as another certificate."""
        self.ssl_adapter.context = context

    @staticmethod
    def bind_socket(socket_: socket, bind_addr: tuple[str, int]) -> socket:
        try:
            socket_.bind(bind_addr)
        except OSError as error:
            socket_.close()
            raise Refusal(
                "Cannot listen on port {port} of {host}: {said}. Choose another with {options}.",
                host=bind_addr[0],
                port=bind_addr[1],
                said=error.strerror or error,
                options="--port, --plain-port or --host",
            ) from error
        return socket_

    def process_conn(self, conn: HTTPConnection) -> None:
        """Keeps a new connection aside until something comes, so that a silent one holds up no thread."""
        if conn.last_used is None:
            self.put_conn(conn)
        else:
            super().process_conn(conn)

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """Passes on what the library has to say."""
        if level == logging.WARNING:  # somebody went away in the middle of an answer, as tablets do
            level, traceback = logging.INFO, False
        log.log(level, "%s", msg, exc_info=traceback)


class _LateHandshake(BuiltinSSLAdapter):
    """Leaves the handshake to the thread that serves the connection.

    Done where connections are taken in, one slow tablet would keep all others waiting.
    """

    def __init__(self, context: ssl.SSLContext) -> None:
        self.context = context

    def wrap(self, sock: socket) -> tuple[ssl.SSLSocket, dict[str, Any]]:
        secured = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        return secured, {"wsgi.url_scheme": "https", "HTTPS": "on"}


class _SecureConnection(HTTPConnection):
    is_greeted = False

    def communicate(self) -> bool:
        """Shakes hands first; then one request at a time. Says whether to keep the connection."""
        try:
            if self.is_greeted:
                return bool(super().communicate())  # type: ignore[no-untyped-call]
            self.socket.do_handshake()
        except (
            OSError
        ) as error:  # among them every ssl.SSLError: a tablet went away, or does not trust us yet
            log.info("lost the connection with %s: %s", self.remote_addr, error)
            return False
        self.is_greeted = True
        return True


@contextmanager
def listening(listeners: Sequence[Listener]) -> Iterator[None]:
    """Takes in requests on all listeners, or on none; at the end lets what is being answered finish."""
    with ExitStack() as opened:
        for listener in listeners:
            listener.prepare()
            opened.callback(listener.stop)
        for listener in listeners:
            thread = threading.Thread(target=listener.serve, name=f"port {listener.port}")
            thread.start()
            opened.callback(thread.join)
            # Stopped before it is joined, and once more above, which does nothing.
            opened.callback(listener.stop)
        yield


@contextmanager
def repeating(act: Callable[[], None], seconds: float) -> Iterator[None]:
    """Does something again and again beside the rest, and goes on when it fails."""
    stop = threading.Event()

    def repeat() -> None:
        while not stop.wait(seconds):
            try:
                act()
            except Exception:
                log.exception("could not renew the certificate")

    thread = threading.Thread(target=repeat, name="renewal")
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()
