"""Words for people, where they are defined rather than shown."""


def phrase(text: str) -> str:
    """Marks an English phrase for translation; whoever shows it translates it."""
    return text
