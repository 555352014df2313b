"""Which panels and which bays are sampled."""

import hashlib
from collections.abc import Sequence


def is_sampled(serial: int, every: int) -> bool:
    """Whether the panel at this place in the raising sequence is checked when the first and each n-th are."""
    return (serial - 1) % every == 0


def sampled_bays(mark: str, numbers: Sequence[int], count: int) -> list[int]:
    """The bays to core, spread by the panel's mark so that nobody picks the easy one.

    The choice looks random from panel to panel, yet anyone can repeat it: bays are ranked by the SHA-256 of
    mark and number. Asking for more bays than there are gives all of them.
    """

    def rank(number: int) -> bytes:
        return hashlib.sha256(f"{mark}/{number}".encode()).digest()

    return sorted(sorted(numbers, key=rank)[:count])
