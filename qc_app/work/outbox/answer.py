"""What an outbox is told about one entry. Sentences stay apart from facts, to be said in any language."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from qc_app.refusal import Refusal
from qc_app.work.sentence import Sentence, sentence

__all__ = ["Answer", "ReadingAnswer", "Reason", "Sentence", "State", "from_store", "sentence"]


class State(StrEnum):
    """What became of an entry: stored, refused for good, or to be sent again."""

    KEPT = "kept"
    REFUSED = "refused"
    LATER = "later"


@dataclass(frozen=True)
class ReadingAnswer:
    """What one reading was found to be."""

    uuid: str
    characteristic: str
    place: str
    verdict: str
    sentence: Sentence


@dataclass(frozen=True)
class Reason:
    """Why an entry is not stored, and which reading and field of it are meant."""

    reading: str | None
    field: str | None
    sentence: Sentence

    @classmethod
    def of(cls, refusal: Refusal, reading: UUID | None = None) -> "Reason":
        return cls(str(reading) if reading else None, refusal.about, Sentence.of(refusal))


@dataclass(frozen=True)
class Answer:
    """The answer to one entry."""

    uuid: UUID
    state: State
    received_at: datetime
    readings: tuple[ReadingAnswer, ...] = ()
    reasons: tuple[Reason, ...] = ()
    remarks: tuple[Sentence, ...] = ()

    def to_store(self) -> dict[str, Any]:
        """What is kept of it beside the entry, to be given again."""
        return {
            "readings": [asdict(reading) for reading in self.readings],
            "reasons": [asdict(reason) for reason in self.reasons],
            "remarks": [asdict(remark) for remark in self.remarks],
        }


def from_store(uuid: UUID, kept: bool, received_at: datetime, stored: Mapping[str, Any]) -> Answer:
    """The answer given before."""
    return Answer(
        uuid,
        State.KEPT if kept else State.REFUSED,
        received_at,
        tuple(ReadingAnswer(**{**r, "sentence": Sentence(**r["sentence"])}) for r in stored["readings"]),
        tuple(Reason(**{**r, "sentence": Sentence(**r["sentence"])}) for r in stored["reasons"]),
        tuple(Sentence(**remark) for remark in stored["remarks"]),
    )
