"""The names and addresses of a machine."""

import socket
from ipaddress import ip_address

import pytest

from qc_app.refusal import Refusal
from qc_app.serve.addresses import EVERYWHERE, Machine, in_url, is_here, this_machine


def named(hostname: str, monkeypatch: pytest.MonkeyPatch, *others: str) -> Machine:
    monkeypatch.setattr(socket, "gethostname", lambda: hostname)
    return this_machine(others)


def test_a_machine_is_known_by_its_name_on_the_shops_network_and_to_itself(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert named("Shop-PC", monkeypatch).names == ("shop-pc", "shop-pc.local", "localhost")
    assert named("desk.local", monkeypatch).names == ("desk.local", "localhost")
    assert named("desk.shop.example", monkeypatch).names == ("desk.shop.example", "desk.local", "localhost")


def test_a_host_name_that_no_certificate_can_hold_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    assert named("werk_statt ä", monkeypatch).names == ("localhost",)


def test_a_machine_reaches_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    addresses = named("no-such-machine.invalid", monkeypatch).addresses
    assert {ip_address("127.0.0.1"), ip_address("::1")} <= set(addresses)
    assert len(set(addresses)) == len(addresses)


def test_the_address_towards_the_network_is_found() -> None:
    """Where the system sends from; no packet goes out, since RFC 768 has no handshake."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(("203.0.113.1", 9))
        except OSError:
            assert all(address.is_loopback for address in this_machine().addresses)
        else:
            assert ip_address(way.getsockname()[0]) in this_machine().addresses


def test_further_names_and_addresses_may_be_given(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = named("shop", monkeypatch, "Log.Shop.example", "10.1.2.3", "[fd00::7]")
    assert "log.shop.example" in machine.names
    assert {ip_address("10.1.2.3"), ip_address("fd00::7")} <= set(machine.addresses)


@pytest.mark.parametrize("given", ["", "two words", "-x", "a..b", "https://shop", "10.0.0.0/8"])
def test_what_is_neither_a_name_nor_an_address_is_refused(given: str) -> None:
    with pytest.raises(Refusal, match="neither the name nor the address"):
        this_machine([given])


def test_a_tablet_is_told_addresses_first_and_never_loopback() -> None:
    machine = Machine(
        ("shop", "shop.local", "localhost"), tuple(map(ip_address, ("192.168.7.20", "fd00::7", "127.0.0.1")))
    )
    assert machine.hosts() == ("192.168.7.20", "[fd00::7]", "shop.local")


def test_only_loopback_is_here() -> None:
    assert all(map(is_here, ("127.0.0.1", "127.0.0.9", "::1", "localhost")))
    assert not any(map(is_here, (*EVERYWHERE, "192.168.7.20", "shop", "")))
    assert in_url("::1") == "[::1]"
