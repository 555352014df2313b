"""Asking a listener through a real socket."""

import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse, HTTPSConnection

ELSEWHERE = "127.0.0.2"
"""An address that is not the one of this machine itself, and yet may be sent from on Linux."""

PATIENCE = 30
"""Seconds that an answer may take on a machine with other work to do."""


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: Mapping[str, str]
    text: str

    @staticmethod
    def read(response: HTTPResponse) -> "Answer":
        return Answer(
            response.status, dict(response.getheaders()), response.read().decode("utf-8", "replace")
        )


def ask(
    port: int,
    path: str = "/",
    *,
    method: str = "GET",
    sender: str = "127.0.0.1",
    body: bytes | None = None,
    headers: Mapping[str, str] | None = None,
) -> Answer:
    """An answer in the clear, asked from ``sender``."""
    connection = HTTPConnection("127.0.0.1", port, timeout=PATIENCE, source_address=(sender, 0))
    return _answer(connection, method, path, body, headers or {})


def ask_securely(
    port: int,
    path: str = "/",
    *,
    trusting: ssl.SSLContext,
    host: str = "127.0.0.1",
    method: str = "GET",
    body: bytes | None = None,
    headers: Mapping[str, str] | None = None,
) -> Answer:
    """An answer over TLS from the machine that calls itself ``host``."""
    connection = HTTPSConnection(host, port, timeout=PATIENCE, context=trusting)
    plain = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)
    connection.sock = trusting.wrap_socket(plain, server_hostname=host)
    return _answer(connection, method, path, body, headers or {})


def shown_certificate(port: int, trusting: ssl.SSLContext) -> dict[str, object]:
    """The certificate that a new connection is shown, once it was verified."""
    with (
        socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as plain,
        trusting.wrap_socket(plain, server_hostname="localhost") as secured,
    ):
        return dict(secured.getpeercert() or {})


def _answer(
    connection: HTTPConnection, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
) -> Answer:
    try:
        connection.request(method, path, body, dict(headers))
        return Answer.read(connection.getresponse())
    finally:
        connection.close()
