"""Ports for the servers that tests start."""

import socket
from contextlib import suppress
from random import SystemRandom

NEVER_GIVEN = range(20_000, 30_000)
"""The system takes ports for connections from 32768 on (Linux, ip_local_port_range; IANA from 49152 on)."""


def free_port() -> int:
    """A port that nobody listens on, and that no connection gets by itself until the server has started."""
    for port in SystemRandom().sample(NEVER_GIVEN, 100):
        with suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError("every port is taken")
