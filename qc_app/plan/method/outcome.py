"""A way of measuring: what its amount depends on, and what comes out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from qc_app.measure.length import Length
from qc_app.plan.method.entry import Entries, Field
from qc_app.plan.quantity import Quantity
from qc_app.plan.subject import Bay, Subject


@dataclass(frozen=True)
class Companion:
    """A number shown beside the amount because it follows from the same entries."""

    name: str
    quantity: Quantity | None
    amount: float


@dataclass(frozen=True)
class Outcome:
    """What the entries amount to, in grains of the method's quantity; the uncertainty where it is known."""

    amount: int
    companions: tuple[Companion, ...] = ()
    standard_uncertainty: int | None = None
    advice: str | None = None
    """What to do for a smaller uncertainty, in a sentence; None where it is small enough."""


@dataclass(frozen=True)
class Circumstances:
    """What the amount, and what is shown beside it, depend on besides the entries."""

    subject: Subject
    place: str
    bore: Length | None = None
    uncertainties: Mapping[str, int] = field(default_factory=dict)
    """Standard uncertainty of one reading with each kind of instrument, in grains; and ``bay_volume``."""
    target: int | None = None
    """The target of the characteristic here, in grains; only for what is shown beside the amount."""

    def length_uncertainty(self, kind: str) -> Length | None:
        """That of a kind that measures lengths, if it is known."""
        grains = self.uncertainties.get(kind)
        return Length.from_nanometres(grains) if grains else None

    @property
    def bay(self) -> Bay | None:
        """The bay that the place names, if the panel has it."""
        return self.subject.bay(place_number(self.place))


@dataclass(frozen=True)
class Method:
    """A way of measuring. ``work_out`` raises Refusal for entries that cannot be read.

    ``lines`` names the lines it always measures, from corner to corner.
    """

    key: str
    quantity: Quantity
    fields: tuple[Field, ...]
    work_out: Callable[[Entries, Circumstances], Outcome]
    charted: bool = True
    lines: tuple[str, ...] = ()


def place_number(place: str) -> int:
    """The number in a place such as ``bay 3``; 0 where there is none."""
    digits = place.rpartition(" ")[2]
    return int(digits) if digits.isascii() and digits.isdigit() else 0
