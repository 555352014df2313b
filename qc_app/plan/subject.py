"""What a check is made on: a panel or a lot, as far as targets and places need to know it."""

from dataclasses import dataclass

from qc_app.plan.penetration import Penetration


@dataclass(frozen=True)
class Bay:
    """One bay: its number from end AD, clear width between members and depth to fill, in nanometres."""

    number: int
    width: int
    depth: int


@dataclass(frozen=True)
class Subject:
    """Nominal sizes in nanometres; ``connectors`` are positions from the datum edge, in order.

    ``serial`` is the place in the raising sequence (or the number of a lot), which decides whose turn it is
    when only each n-th is checked.
    """

    mark: str
    kind: str
    serial: int
    length: int
    width: int
    depth: int
    bays: tuple[Bay, ...] = ()
    connectors: tuple[int, ...] = ()
    penetrations: tuple[Penetration, ...] = ()

    def bay(self, number: int) -> Bay | None:
        """The bay with that number, if the panel has it."""
        return next((bay for bay in self.bays if bay.number == number), None)

    def penetration(self, mark: str) -> Penetration | None:
        """The penetration with that mark, if the panel has it."""
        return next((found for found in self.penetrations if found.mark == mark), None)
