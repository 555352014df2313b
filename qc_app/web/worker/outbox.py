"""What a tablet's own script says to the server: hello, who stands there, and what its outbox holds."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any
from uuid import UUID

from flask import Blueprint, current_app, request
from flask_babel import force_locale, get_locale
from flask_wtf.csrf import generate_csrf
from werkzeug.wrappers import Response

from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.web.access import allow, allow_anybody
from qc_app.web.build import build
from qc_app.web.headers import ONE_YEAR
from qc_app.web.language import LANGUAGES, say
from qc_app.web.request import database, now, photo_store, reading_session, signed_in, tablet, visitor
from qc_app.web.spoken import BLUEPRINT, spoken
from qc_app.work import find, notices, photos, pins
from qc_app.work.outbox import Answer, Malformed, Taken, read_batch, take
from qc_app.work.outbox.answer import Reason, Sentence
from qc_app.work.outbox.author import Sender, languages
from qc_app.work.outbox.batch import SCHEMA, load, mapping, text, whole
from qc_app.work.roles import Act
from qc_app.work.sign_in import SignInRefused

pages = Blueprint(BLUEPRINT, __name__)


@pages.get("/tablet/hello")
@allow_anybody()
def hello() -> Response:
    """Who is there, what they need to know, and the token that every later request carries."""
    there, somebody = tablet(), signed_in()
    visiting = there or somebody
    return spoken(
        clock=now().isoformat(),
        csrf=generate_csrf(),
        build=build(current_app),
        schema=SCHEMA,
        tablet=_described(there) if there else None,
        person=_named(somebody) if somebody else None,
        people=[_named(p) for p in pins.people_with_pin(reading_session(), there.plant_id)] if there else [],
        waiting_notices=notices.count_open(reading_session(), visiting) if visiting else 0,
    )


@pages.post("/tablet/sign-in")
@allow(Act.RECORD, tablets=True)
def sign_in() -> Response:
    """Somebody at an enrolled tablet says who they are with a PIN."""
    there = _enrolled()
    sent = mapping(load(request.get_data()), "sign-in")
    person_id, pin = whole(sent.get("person"), "person"), text(sent.get("pin"), "pin", 40)
    try:
        somebody = pins.sign_in_by_pin(database(), there.id, person_id, pin, now())
    except SignInRefused as refusal:
        return spoken(422, sentence=say(refusal), seconds=refusal.facts.get("seconds", 0))
    return spoken(person=_named(somebody))


@pages.post("/tablet/language")
@allow(Act.RECORD, tablets=True)
def language() -> Response:
    """Remembers the language of somebody who signed in here."""
    there = _enrolled()
    sent = mapping(load(request.get_data()), "language")
    person_id, chosen = whole(sent.get("person"), "person"), text(sent.get("language"), "language", 10)
    with database().write() as session:
        somebody = find.person(session, there, person_id)
        if chosen not in LANGUAGES or not pins.was_here(session, there.id, person_id, now()):
            raise Malformed("language")
        somebody.language = chosen
    return spoken()


@pages.post("/outbox")
@allow(Act.RECORD, tablets=True)
def send() -> Response:
    """Takes what waits on a tablet or in a browser, and answers each entry."""
    batch = read_batch(request.get_data())
    taken = take(database(), visitor(), batch, now())
    chosen = languages(reading_session(), Sender.of(visitor()), batch)
    return spoken(clock=now().isoformat(), answers=answered(taken, chosen), missing=list(taken.missing))


@pages.put("/photo/<name>")
@allow(Act.RECORD, tablets=True)
def take_photo(name: str) -> Response:
    """Takes a photo, before the entry that names it."""
    person_id = request.args.get("person", "")
    if not person_id.isdecimal() or len(person_id) > 18:
        raise Malformed("person")
    try:
        photos.keep_photo(
            database(), photo_store(), visitor(), int(person_id), name, request.get_data(), now()
        )
    except Refusal as refusal:
        return spoken(422, sentence=say(refusal))
    return spoken()


@pages.get("/photo/<name>")
@allow(Act.LOOK, tablets=True)
def photo(name: str) -> Response:
    """Shows a photo."""
    content = photos.photo(reading_session(), photo_store(), visitor(), name)
    answer = Response(content, mimetype=photos.MEDIA_TYPE)
    answer.headers["Content-Disposition"] = f'inline; filename="photo-{name[:12]}.jpg"'
    # A photo's name is what it shows, so a browser may keep it; nobody between may.
    answer.headers["Cache-Control"] = f"private, max-age={ONE_YEAR}, immutable"
    return answer


def answered(taken: Taken, chosen: Mapping[UUID, str] = MappingProxyType({})) -> list[dict[str, Any]]:
    """The answers in words; in the ``chosen`` language where whoever made the entry chose one."""
    spoken_here = str(get_locale())
    answers = []
    for answer in taken.answers:
        with force_locale(chosen.get(answer.uuid, spoken_here)):
            answers.append(_answer(answer))
    return answers


def _answer(answer: Answer) -> dict[str, Any]:
    return {
        "uuid": str(answer.uuid),
        "state": answer.state.value,
        "received_at": answer.received_at.isoformat(),
        "readings": [
            {
                "uuid": reading.uuid,
                "characteristic": reading.characteristic,
                "place": reading.place,
                "verdict": reading.verdict,
                "sentence": _said(reading.sentence),
            }
            for reading in answer.readings
        ],
        "reasons": [_reason(reason) for reason in answer.reasons],
        "remarks": [_said(remark) for remark in answer.remarks],
    }


def _reason(reason: Reason) -> dict[str, Any]:
    return {"reading": reason.reading, "field": reason.field, "sentence": _said(reason.sentence)}


def _said(sentence: Sentence) -> str:
    return say(Refusal(sentence.words, **sentence.facts))


def _enrolled() -> Tablet:
    there = tablet()
    if there is None:
        raise Refusal("Only an enrolled tablet asks for a PIN.")
    return there


def _described(there: Tablet) -> dict[str, Any]:
    return {
        "id": there.id,
        "name": there.name,
        "station": there.station.key,
        "key_size": there.key_size,
    }


def _named(somebody: Person) -> dict[str, Any]:
    return {"id": somebody.id, "name": somebody.name, "language": somebody.language}
