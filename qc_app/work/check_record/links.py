"""Whether nonconformities are linked as people linked them, and as each follows the one before it."""

from collections.abc import Iterator
from itertools import pairwise

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Building
from qc_app.records.chain import Link
from qc_app.records.nonconformity import Nonconformity, nonconformity_link
from qc_app.work.check_record.place import Chain, event_words

TELLING = "nonconformities linked"

One = tuple[int, str, int]
"""Number of the plant, code of a building in it, and number of a nonconformity there."""

Pair = frozenset[One]


class LinksCheck:
    """All links of all plants: one may go from a building to another, and is told in one chain only."""

    def __init__(self, session: Session) -> None:
        self._session = session
        query = select(Building.id, Building.plant_id, Building.code)
        self._buildings = {number: (plant, code) for number, plant, code in session.execute(query)}
        self._told: dict[Pair, str] = {}

    def hear(self, chain: Chain, link: Link) -> None:
        """Notes an event about a link."""
        if link.what != TELLING or chain.owner is not Building:
            return
        plant, code = self._buildings[chain.owner_id]
        other = (plant, link.facts["building of other"], link.facts["other"])
        self._told[frozenset({(plant, code, link.facts["number"]), other})] = event_words(chain, link)

    def left(self) -> Iterator[str]:
        """Links without an event, and those told of or due that are not there."""
        stored, due = self._stored(), self._due()
        for pair in stored - self._told.keys() - due:
            yield f"The table links nonconformities {_words(pair)}; no event tells of it."
        for pair, where in self._told.items():
            if pair not in stored:
                yield f"{where}: the record links nonconformities {_words(pair)}; the table does not."
        for pair in due - self._told.keys() - stored:
            yield (
                f"Nonconformities {_words(pair)} are about the same check, one after the other; the table "
                "does not link them."
            )

    def _stored(self) -> set[Pair]:
        query = select(Nonconformity.id, Building.plant_id, Building.code, Nonconformity.number)
        of_buildings = query.join(Building, Nonconformity.building_id == Building.id)
        ones: dict[int, One] = {
            row[0]: (row[1], row[2], row[3]) for row in self._session.execute(of_buildings)
        }
        linked = self._session.execute(select(nonconformity_link.c.one_id, nonconformity_link.c.other_id))
        nobody = (0, "nowhere", 0)
        return {frozenset({ones.get(first, nobody), ones.get(second, nobody)}) for first, second in linked}

    def _due(self) -> set[Pair]:
        """Each nonconformity that a reading opened is linked with the one before it about the same check."""
        query = select(Building.plant_id, Building.code, Nonconformity)
        of_readings = query.join(Building, Nonconformity.building_id == Building.id).where(
            Nonconformity.reading_id.is_not(None)
        )
        by_check: dict[tuple[int, str, str], list[One]] = {}
        for plant, code, one in self._session.execute(of_readings.order_by(Nonconformity.number)):
            same = by_check.setdefault((one.panel_id, one.characteristic, one.place), [])
            same.append((plant, code, one.number))
        return {frozenset(two) for same in by_check.values() for two in pairwise(same)}


def _words(pair: Pair) -> str:
    return " and ".join(f"{number} of building {code}" for _, code, number in sorted(pair))
