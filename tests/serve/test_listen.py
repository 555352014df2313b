"""A listener under what a network does to it."""

import logging
import socket
import ssl
import threading
import warnings
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from wsgiref.types import StartResponse, WSGIEnvironment

import pytest

from qc_app.refusal import Refusal
from qc_app.serve.addresses import this_machine
from qc_app.serve.authority import Identity, issue, make_authority, server_context
from qc_app.serve.listen import LARGEST_BODY, LARGEST_HEAD, THREADS, Listener, listening, repeating
from qc_app.web import ROOM
from tests.serve.conftest import PATIENCE, Answer, ask, ask_securely, shown_certificate

NOW = datetime.now(UTC)

LONGER_THAN_ANYBODY_WAITS = 4 * PATIENCE


def echo(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
    """Says over what it was asked, and by whom."""
    environ["wsgi.input"].read()
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [f"{environ['wsgi.url_scheme']} {environ['REMOTE_ADDR']}".encode()]


@pytest.fixture(scope="module")
def authority() -> Identity:
    return make_authority("shop", NOW)


@pytest.fixture(scope="module")
def trusting(authority: Identity) -> ssl.SSLContext:
    return ssl.create_default_context(cadata=authority.der())


def context(authority: Identity, folder: Path) -> ssl.SSLContext:
    """What the listener speaks as; a new certificate each time."""
    path = folder / "server.pem"
    path.write_bytes(issue(authority, this_machine(), NOW).pem())
    return server_context(str(path))


@pytest.fixture
def plain() -> Iterator[Listener]:
    listener = Listener(echo, "127.0.0.1", 0)
    with listening([listener]):
        yield listener


@pytest.fixture
def secure(authority: Identity, tmp_path: Path) -> Iterator[Listener]:
    listener = Listener(echo, "127.0.0.1", 0, context(authority, tmp_path))
    with listening([listener]):
        yield listener


def raw(port: int, sent: bytes) -> bytes:
    """What comes back for bytes that no client library would send."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        connection.sendall(sent)
        received = b""
        while more := connection.recv(4096):
            received += more
    return received


def test_it_answers_in_the_clear_and_over_tls(
    plain: Listener, secure: Listener, trusting: ssl.SSLContext
) -> None:
    assert ask(plain.port).text == "http 127.0.0.1"
    for host in ("127.0.0.1", "localhost"):
        assert ask_securely(secure.port, trusting=trusting, host=host).text == "https 127.0.0.1"


def test_a_client_refuses_it_under_another_name(secure: Listener, trusting: ssl.SSLContext) -> None:
    for host in ("other.local", "192.0.2.77"):
        with pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch|not valid for"):
            ask_securely(secure.port, trusting=trusting, host=host)


def test_a_client_that_does_not_trust_the_authority_refuses_it(secure: Listener) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"):
        ask_securely(secure.port, trusting=ssl.create_default_context())


def test_it_refuses_tls_before_1_2(secure: Listener, trusting: ssl.SSLContext) -> None:
    """RFC 8996 deprecates TLS 1.0 and 1.1."""
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("DEFAULT:@SECLEVEL=0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(ssl.SSLError, match="alert protocol version"):
        ask_securely(secure.port, trusting=old)
    assert ask_securely(secure.port, trusting=trusting).status == 200


def test_a_certificate_is_exchanged_while_it_serves(
    secure: Listener, authority: Identity, trusting: ssl.SSLContext, tmp_path: Path
) -> None:
    before = shown_certificate(secure.port, trusting)
    secure.renew(context(authority, tmp_path))
    after = shown_certificate(secure.port, trusting)
    assert before["serialNumber"] != after["serialNumber"]


def test_silent_connections_hold_up_nobody(
    plain: Listener, secure: Listener, trusting: ssl.SSLContext
) -> None:
    # A silent connection that held a thread would hold it for all that time.
    plain.timeout = secure.timeout = LONGER_THAN_ANYBODY_WAITS
    with ExitStack() as opened:
        for port in [plain.port, secure.port] * (2 * THREADS):
            opened.enter_context(socket.create_connection(("127.0.0.1", port)))
        assert ask(plain.port).status == 200
        assert ask_securely(secure.port, trusting=trusting).status == 200


def test_a_half_finished_handshake_holds_up_nobody(secure: Listener, trusting: ssl.SSLContext) -> None:
    secure.timeout = LONGER_THAN_ANYBODY_WAITS
    with socket.create_connection(("127.0.0.1", secure.port)) as stuck:
        stuck.sendall(b"\x16\x03\x01\x02")  # the first bytes of a greeting (RFC 8446, 5.1), and no more
        assert ask_securely(secure.port, trusting=trusting).status == 200


def test_words_in_the_clear_at_the_secure_port_do_it_no_harm(
    secure: Listener, trusting: ssl.SSLContext
) -> None:
    assert b"200 OK" not in raw(secure.port, b"GET / HTTP/1.1\r\nHost: shop\r\n\r\n")
    assert ask_securely(secure.port, trusting=trusting).status == 200


@pytest.mark.parametrize("sent", [b"GET / HTTP/1.0\r\n\r\n", b"nonsense\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n"])
def test_no_answer_tells_strangers_which_version_runs(plain: Listener, sent: bytes) -> None:
    answer = raw(plain.port, sent).lower()
    assert answer.startswith(b"http/1.")
    assert b"cheroot" not in answer
    assert b"python" not in answer


def test_a_head_that_is_too_large_is_refused(plain: Listener) -> None:
    assert ask(plain.port, headers={"X-Long": "a" * (LARGEST_HEAD // 2)}).status == 200
    assert ask(plain.port, headers={"X-Long": "a" * LARGEST_HEAD}).status == 413
    assert ask(plain.port, "/" + "a" * LARGEST_HEAD).status == 414


def test_it_takes_all_that_any_page_takes() -> None:
    assert max(ROOM.values()) <= LARGEST_BODY


def test_a_body_that_is_too_large_is_refused_before_it_is_read(plain: Listener) -> None:
    head = f"POST / HTTP/1.1\r\nHost: shop\r\nContent-Length: {LARGEST_BODY + 1}\r\n\r\n"
    assert raw(plain.port, head.encode()).startswith(b"HTTP/1.1 413 ")


def test_what_is_being_answered_when_it_stops_is_finished() -> None:
    entered, pause = threading.Event(), threading.Event()

    def slow(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        entered.set()
        while listener.ready:
            pause.wait(0.01)
        start_response("200 OK", [("Content-Type", "text/plain")])
        return [b"finished"]

    listener = Listener(slow, "127.0.0.1", 0)
    answers: list[Answer] = []
    with listening([listener]):
        asking = threading.Thread(target=lambda: answers.append(ask(listener.port)))
        asking.start()
        assert entered.wait(PATIENCE)
    asking.join(PATIENCE)
    assert [answer.text for answer in answers] == ["finished"]


def test_after_it_stopped_the_port_is_free_again() -> None:
    first = Listener(echo, "127.0.0.1", 0)
    with listening([first]):
        assert ask(first.port).status == 200
    second = Listener(echo, "127.0.0.1", first.port)
    with listening([second]):
        assert ask(second.port).status == 200


def test_if_one_port_is_taken_neither_listens(plain: Listener) -> None:
    free = Listener(echo, "127.0.0.1", 0)
    with pytest.raises(Refusal, match="in use"), listening([free, Listener(echo, "127.0.0.1", plain.port)]):
        pytest.fail("it listens")
    with pytest.raises(ConnectionRefusedError):
        ask(free.port)


def test_what_is_repeated_goes_on_after_a_failure(caplog: pytest.LogCaptureFixture) -> None:
    done = threading.Event()
    tries: list[int] = []

    def act() -> None:
        tries.append(1)
        if len(tries) == 1:
            raise OSError("no room on the disk")
        done.set()

    with repeating(act, 0.01):
        assert done.wait(PATIENCE)
    assert "could not renew the certificate" in caplog.text


def test_a_tablet_that_leaves_in_the_middle_of_an_answer_is_no_fault(
    authority: Identity, trusting: ssl.SSLContext, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    left, gone = threading.Event(), threading.Event()

    def long(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        assert left.wait(PATIENCE)
        start_response("200 OK", [("Content-Type", "text/plain")])
        try:
            for _ in range(1000):
                yield b"a" * 65_536
        finally:
            gone.set()

    listener = Listener(long, "127.0.0.1", 0, context(authority, tmp_path))
    with listening([listener]), caplog.at_level(logging.INFO):
        with (
            socket.create_connection(("127.0.0.1", listener.port), timeout=PATIENCE) as plain,
            trusting.wrap_socket(plain, server_hostname="localhost") as leaving,
        ):
            leaving.sendall(b"GET / HTTP/1.1\r\nHost: shop\r\n\r\n")
        left.set()
        assert gone.wait(PATIENCE)
    assert caplog.records
    assert [record.levelname for record in caplog.records if record.levelno > logging.INFO] == []
