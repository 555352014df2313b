"""Whether imported files are those that the events of their import name."""

import hashlib
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.chain import Link
from qc_app.records.shop import Person, Plant
from qc_app.records.upload import Upload
from qc_app.work.check_record.place import Chain, event_words, moment

ENDING = " imported"


class FilesCheck:
    """The files imported in one plant. One may be taken twice; its table then has the last time."""

    def __init__(self, session: Session, chain: Chain) -> None:
        self._session, self._chain = session, chain
        self._told: dict[tuple[str, str, str], dict[str, Link]] = {}

    def hear(self, link: Link) -> None:
        """Notes an event about an import."""
        if link.what.endswith(ENDING) and self._chain.owner is Plant:
            file = (link.what.removesuffix(ENDING), link.facts["file"], link.facts["sha256"])
            self._told.setdefault(file, {})[moment(link.at)] = link

    def left(self) -> Iterator[str]:
        """Files taken without an event, at another time, or changed since; events whose file is not there."""
        if self._chain.owner is not Plant:
            return
        stored = set()
        query = select(Upload.what, Upload.name, Upload.sha256, Upload.content, Upload.taken_at)
        of_plant = query.join(Person, Upload.person_id == Person.id)
        with self._session.execute(
            of_plant.where(Person.plant_id == self._chain.owner_id).order_by(Upload.id),
            execution_options={"yield_per": 1},
        ) as rows:
            for what, name, sha256, content, taken_at in rows:
                stored.add((what, name, sha256))
                words = f"{self._chain.words}: the table has the file “{name}” ({what})"
                if hashlib.sha256(content).hexdigest() != sha256:
                    yield f"{words}, whose content does not give its hash {sha256}."
                times = self._told.get((what, name, sha256), {})
                if taken_at and times.pop(moment(taken_at), None) is None:
                    yield f"{words}, taken {moment(taken_at)}; no event tells of it."
        for file, times in self._told.items():
            if file not in stored:
                where = event_words(self._chain, [*times.values()][-1])
                yield f"{where}: the record tells of the file “{file[1]}”; the table has none like it."
