"""Sentences about what happened. Words stay apart from facts, to be said in any language."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from qc_app.refusal import Refusal


@dataclass(frozen=True)
class Sentence:
    """English words with ``{name}`` places, and what fills them."""

    words: str
    facts: Mapping[str, Any]

    @classmethod
    def of(cls, refusal: Refusal) -> "Sentence":
        """The sentence of a refusal, with facts that JSON can hold."""
        facts = {name: fact if type(fact) is int else str(fact) for name, fact in refusal.facts.items()}
        return cls(refusal.sentence, facts)

    def __str__(self) -> str:
        return self.words.format(**self.facts)


def sentence(words: str, **facts: str | int) -> Sentence:
    """A sentence and what fills its places."""
    return Sentence(words, facts)
