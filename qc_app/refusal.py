"""How this program says no: one plain sentence that names what was given and what is accepted."""


class Refusal(ValueError):
    """Input that cannot be taken, or an act that may not be done.

    ``sentence`` is a complete English sentence with ``{name}`` places and serves as the key for translation;
    ``facts`` fill the places; ``about`` is the key of the field it concerns, where there is one. ``str()``
    gives the finished English sentence, so the pure parts can raise it without knowing of languages or pages.
    """

    def __init__(self, sentence: str, *, about: str | None = None, **facts: object) -> None:
        self.sentence = sentence
        self.about = about
        self.facts = facts
        super().__init__(sentence.format(**facts))


def shortened(text: str, limit: int = 40) -> str:
    """What somebody entered, cut to fit into a sentence."""
    return text if len(text) <= limit else text[: limit - 1] + "…"
