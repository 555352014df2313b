"""What a check of an instrument does once it has come."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.instrument import format_error, parse_reading
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.shop import Instrument
from qc_app.refusal import Refusal
from qc_app.work.instrument_checks import SHIFT, check, found_wrong
from qc_app.work.outbox.answer import Sentence, sentence
from qc_app.work.outbox.batch import listed, mapping, text
from qc_app.work.outbox.occasion import LONGEST_KEY, LONGEST_TEXT, Occasion, Taken, instrument_of

MOST_CHECKS = 4
"""At once: a scale is looked at empty and with its weight on."""

PASSED = phrase("{gauge} passed: off by {off}, at most {permitted} permitted.")
FAILED = phrase(
    "{gauge} failed: off by {off}, at most {permitted} permitted. "
    "Put it aside and take another; the shop lead has been told."
)
WRONG = phrase("{gauge} is down as wrong. Put it aside and take another; the shop lead has been told.")


def take_instrument_check(session: Session, on: Occasion, content: Mapping[str, Any]) -> Taken:
    """Records the checks of one instrument made at once, or that somebody found it wrong.

    Raises
    ------
    Refusal
        If one of them cannot be recorded; then none is.
    """
    instrument = instrument_of(session, on, content.get("instrument"))
    remark = text(content.get("remark", ""), "remark", LONGEST_TEXT)
    if content.get("wrong") is True:
        found_wrong(session, on.author, instrument, remark, on.now, at=on.entered_at)
        return Taken(remarks=(sentence(WRONG, gauge=instrument.name),))
    sent = listed(content.get("checks"), "checks", MOST_CHECKS)
    if not sent:
        raise Refusal(phrase("This entry holds no check."))
    made = [_check(session, on, instrument, mapping(given, "check"), remark) for given in sent]
    return Taken(remarks=tuple(_told(on, instrument, each) for each in made))


def _check(
    session: Session, on: Occasion, instrument: Instrument, given: Mapping[str, Any], remark: str
) -> InstrumentCheck:
    reference = given.get("reference")
    against = None if reference is None else _amount(instrument, given, "reference")
    read = _amount(instrument, given, "read")
    return check(session, on.author, instrument, SHIFT, against, read, remark, on.now, at=on.entered_at)


def _amount(instrument: Instrument, given: Mapping[str, Any], key: str) -> int:
    typed = text(given.get(key), key, LONGEST_KEY)
    try:
        return parse_reading(instrument.kind, typed)
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about=key, **refusal.facts) from refusal


def _told(on: Occasion, instrument: Instrument, made: InstrumentCheck) -> Sentence:
    units = on.author.plant.units
    off = abs((made.read or 0) - (made.reference or 0))
    return sentence(
        PASSED if made.passed else FAILED,
        gauge=instrument.name,
        off=format_error(instrument.kind, off, units),
        permitted=format_error(instrument.kind, made.permitted or 0, units),
    )
