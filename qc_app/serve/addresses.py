"""The names and addresses by which tablets reach this machine."""

import re
import socket
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address

from qc_app.refusal import Refusal

Address = IPv4Address | IPv6Address

EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 (names them, listens nowhere)
HERE = frozenset({"127.0.0.1", "::1", "::ffff:127.0.0.1"})
"""Addresses from which only this machine itself asks."""

LOOPBACK = (ip_address("127.0.0.1"), ip_address("::1"))

# One address in each private range (RFC 1918), and one outside (RFC 5737): the way to it shows ours.
_FAR_AWAY = ("10.255.255.254", "172.31.255.254", "192.168.255.254", "203.0.113.1")

_NAME = re.compile(r"(?=.{1,253}\Z)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True)
class Machine:
    """What a certificate must name: DNS names, and addresses."""

    names: tuple[str, ...]
    addresses: tuple[Address, ...]

    def hosts(self) -> tuple[str, ...]:
        """What to type on a tablet, the surest first: addresses, then names; as written in a URL."""
        addresses = [in_url(str(address)) for address in self.addresses if not address.is_loopback]
        # A bare name means something only to some networks.
        return (*addresses, *(name for name in self.names if "." in name))


def this_machine(others: Sequence[str] = ()) -> Machine:
    """This machine, with further names or addresses that somebody gave it.

    Raises
    ------
    Refusal
        If one of the others is neither a name nor an address.
    """
    given = [_name_or_address(text) for text in others]
    names = [*_own_names(socket.gethostname()), *(one for one in given if isinstance(one, str))]
    addresses = [*_own_addresses(), *(one for one in given if not isinstance(one, str))]
    return Machine(tuple(dict.fromkeys([*names, "localhost"])), tuple(dict.fromkeys([*addresses, *LOOPBACK])))


def is_here(host: str) -> bool:
    """Whether only this machine itself can reach what listens there."""
    if host == "localhost":
        return True
    with suppress(ValueError):
        return ip_address(host).is_loopback
    return False


def in_url(host: str) -> str:
    """A name or address as it is written in a URL."""
    return f"[{host}]" if ":" in host else host


def _name_or_address(text: str) -> str | Address:
    with suppress(ValueError):
        return ip_address(text.strip("[]"))
    name = text.lower()
    if not _NAME.fullmatch(name):
        raise Refusal("“{given}” is neither the name nor the address of a machine.", given=text)
    return name


def _own_names(hostname: str) -> tuple[str, ...]:
    """The host name, and the name under which a shop's network finds it without a name server (RFC 6762)."""
    name = hostname.lower().rstrip(".")
    candidates = (name, f"{name.partition('.')[0]}.local")
    return tuple(one for one in candidates if _NAME.fullmatch(one))


def _own_addresses() -> Iterator[Address]:
    for far in _FAR_AWAY:
        with suppress(OSError), closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as way:
            way.connect((far, 9))  # nothing is sent: this only chooses the interface
            yield ip_address(way.getsockname()[0])
    with suppress(OSError):
        for *_, place in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
            yield ip_address(place[0])
