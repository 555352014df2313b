"""Each kind of event as a sentence in words."""

from collections.abc import Mapping
from typing import Any

from flask import Flask
from flask_babel import gettext as _

from qc_app.phrase import phrase
from qc_app.records.event import Event
from qc_app.refusal import Refusal
from qc_app.web.plan_words import plan_word
from qc_app.web.show import verdict_word
from qc_app.work.nonconformity import CORRECTED
from qc_app.work.nonconformity import WORDS as DECIDED
from qc_app.work.standing import Item

WORDS: Mapping[str, str] = {
    "plant set up": phrase("The log of {plant} was set up."),
    "person added": phrase("{name} was added as {role}."),
    "role changed": phrase("{name} was {from}, and is {to}."),
    "PIN set": phrase("The PIN of {person} was set."),
    "instrument added": phrase("Instrument {name} was added."),
    "instrument changed": phrase("What is known of instrument {name} was changed."),
    "instrument taken out of use": phrase("Instrument {name} was taken out of use."),
    "instrument checked": phrase("Instrument {instrument} was checked."),
    "instrument found wrong": phrase("Instrument {instrument} was found wrong: {remark}"),
    "control plan adopted": phrase("Version {version} of the control plan was adopted: {reason}"),
    "control plan followed": phrase(
        "{mark}, not started yet, follows version {to} of the control plan instead of {from}."
    ),
    "panel moved to another control plan": phrase("{mark} was moved to another control plan: {reason}"),
    "plan draft begun": phrase("A new version of the control plan was begun."),
    "plan draft saved": phrase("The draft of the control plan was saved."),
    "plan draft discarded": phrase("The draft of the control plan was thrown away."),
    "control limits frozen": phrase("Control limits were frozen on the chart {chart}: {reason}"),
    "building added": phrase("Building {code} was added."),
    "panel scheduled": phrase("{mark} was put on the schedule."),
    "panel made again": phrase("{mark} was scheduled in place of {predecessor}, which was scrapped."),
    "panel scrapped": phrase("{mark} was scrapped for nonconformity {nonconformity}."),
    "lot booked in": phrase("Lot {mark} was booked in."),
    "material received": phrase("Lot {mark} came in from {supplier}."),
    "lot used": phrase("Something of lot {lot} went into {mark}."),
    "reading recorded": phrase("{check} was read as “{entered}”: {verdict}."),
    "reading corrected": phrase("{check} was corrected to “{entered}”: {verdict}. Why: {reason}"),
    "nonconformity opened": phrase("Nonconformity {number} was opened: {what}"),
    "nonconformity decided": phrase("Nonconformity {number} was decided ({decision}): {reason}"),
    "nonconformity closed": phrase("Nonconformity {number} was closed ({how})."),
    "nonconformity explained": phrase(
        "Nonconformity {number} was explained. Cause: {cause} Correction: {correction}"
    ),
    "nonconformities linked": phrase("Nonconformity {number} was linked to nonconformity {other}."),
    "panel put on hold": phrase("{mark} was put on hold: {reason}"),
    "hold lifted": phrase("A hold on {mark} was lifted: {reason}"),
    "panel released": phrase("{mark} was released; the SHA-256 of its record is {sha256}."),
    "release withdrawn": phrase("The release of {mark} was withdrawn: {reason}"),
    "panel loaded": phrase("{mark} was loaded. {remark}"),
    "panel set": phrase("{mark} was set on site. {remark}"),
    "load planned": phrase("Load {load} was planned."),
    "load released": phrase("Load {load} was released with {panels}."),
    "panel put on load": phrase("{mark} was put on load {load}."),
    "panel taken off load": phrase("{mark} was taken off load {load}."),
    "packet handed over": phrase("A handover packet was made; its SHA-256 is {sha256}."),
    "notice closed": phrase("A notice was closed: {remark}"),
    "outbox file taken in": phrase("The file of an outbox was taken in: {kept} of {entries} entries kept."),
    "tablet invited": phrase("{tablet} was invited."),
    "tablet enrolled": phrase("{tablet} was enrolled."),
    "tablet moved": phrase("{tablet} was moved to another station."),
    "tablet revoked": phrase("{tablet} was revoked."),
    "schedule imported": phrase("The file {file} was imported: {added} panels added."),
    "readings imported": phrase("The file {file} was imported: {added} readings added."),
}

CONCEDED = phrase(
    "Nonconformity {number} was decided ({decision}): {reason} Agreed by {agreed by} for the customer."
)
"""A decision to which somebody agreed for the customer."""

DECISIONS = {**DECIDED, CORRECTED: phrase("the reading was typed wrong, and is corrected")}
"""What was decided about a nonconformity, or how it was closed."""


class _Facts(dict[str, Any]):
    """Facts of an event; one that older events lack reads as a dash."""

    def __missing__(self, key: str) -> str:
        return "–"


def install(app: Flask) -> None:
    """Gives templates the sentence of an event by name."""
    app.jinja_env.globals.update(event_words=event_words)


def event_words(event: Event, item: Item | None = None) -> str:
    """What happened, in the language of the request; as the log has it where there is no sentence for it.

    ``item`` is the panel or lot that it is about, whose control plan names the checks.
    """
    if event.what not in WORDS:
        return event.what
    words = CONCEDED if event.facts.get("agreed by") else WORDS[event.what]
    return _(words).format_map(_Facts(_worded(event.facts, item))).strip()


def _worded(facts: Mapping[str, Any], item: Item | None) -> dict[str, Any]:
    worded = {key: "–" if fact in (None, "") and key != "remark" else fact for key, fact in facts.items()}
    worded |= {key: _(DECISIONS[worded[key]]) for key in ("decision", "how") if worded.get(key) in DECISIONS}
    if "entries" in worded and isinstance(worded["entries"], dict):
        worded["entered"] = " · ".join(str(entry) for entry in worded["entries"].values())
        check = plan_word(_name(str(facts.get("characteristic", "")), item))
        place = plan_word(str(facts.get("place", "")))
        worded["check"] = f"{check}, {place}" if place else check
        worded["verdict"] = verdict_word(str(worded.get("verdict", "")))
    return worded


def _name(characteristic: str, item: Item | None) -> str:
    try:
        if item is not None:
            return item.control_plan.plan.characteristic(item.kind, characteristic).name
    except Refusal:
        pass  # the panel follows another version by now
    return characteristic.replace("_", " ")
