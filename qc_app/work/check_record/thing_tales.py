"""What each kind of event says of things: which thing, and what is so from then on.

A value that an event does not know is left out; then an earlier event counts, or nothing is compared.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import Any

from qc_app.records.chain import Link
from qc_app.work.check_record.thing_kinds import UNKNOWN, Called, Key
from qc_app.work.roles import Role

Tale = tuple[str, Key, dict[str, Any]]
"""Word of a thing, its key, and the values of its fields."""

SHUT_OUT = "shut out"
DETAILS: Mapping[str, Any] = {
    "standard_uncertainty": None,
    "accuracy_class": "",
    "graduation": None,
    "certificate": "",
    "due_on": None,
}
"""What is known of an instrument where its event does not say it."""


def _plant_set_up(link: Link) -> Iterator[Tale]:
    known = ("plant", "system", "denominator", "time_zone")
    yield "plant", 0, {name: link.facts[name] for name in known if name in link.facts}
    if "sign_in_name" not in link.facts:
        yield "person", Called(number=link.person_id), {}
    else:
        first = {"name": link.facts["name"], "role": Role.QUALITY_MANAGER.value, "active": True}
        yield "person", link.facts["sign_in_name"], {**first, "building": None}


def _person_added(link: Link) -> Iterator[Tale]:
    facts = link.facts
    values = {"name": facts["name"], "role": facts["role"], "building": facts.get("building")}
    yield "person", _person(link), {**values, "active": True}


def _role_changed(link: Link) -> Iterator[Tale]:
    facts = link.facts
    is_active = facts["to"] != SHUT_OUT
    values = {"building": facts.get("building"), "active": is_active}
    if "role" in facts or is_active:
        values["role"] = facts.get("role", facts["to"])
    yield "person", _person(link), values


def _person(link: Link) -> Key:
    return link.facts.get("sign_in_name") or Called(link.facts["name"])


def _instrument_added(link: Link) -> Iterator[Tale]:
    values = {**DETAILS, "active": True, **link.facts}
    yield "instrument", link.facts["name"], values


def _instrument_changed(link: Link) -> Iterator[Tale]:
    yield "instrument", link.facts["name"], {**DETAILS, **link.facts}


def _instrument_retired(link: Link) -> Iterator[Tale]:
    yield "instrument", link.facts["name"], {"active": False}


def _building_added(link: Link) -> Iterator[Tale]:
    yield "building", link.facts["code"], dict(link.facts)


def _lot_booked_in(link: Link) -> Iterator[Tale]:
    yield "lot", link.facts["mark"], dict(link.facts)


def _plan_adopted(link: Link) -> Iterator[Tale]:
    values = dict(link.facts)
    if "in_force_from" in values:
        values["in_force_from"] = datetime.fromisoformat(values["in_force_from"])
    yield "control plan, version", values["version"], values


def _panel_scheduled(link: Link) -> Iterator[Tale]:
    nothing_yet = {"predecessor": None, "time it was scrapped": None, "load": None}
    yield "panel", link.panel_id, {**nothing_yet, **link.facts}


def _panel_made_again(link: Link) -> Iterator[Tale]:
    values = {"time it was scrapped": None, **link.facts}
    yield "panel", link.panel_id, values
    if link.facts.get("load", UNKNOWN) is not None:
        left = None if "load" in link.facts else UNKNOWN  # it may have gone with the older events
        yield "panel", Called(link.facts["predecessor"]), {"load": left}


def _plan_followed(link: Link) -> Iterator[Tale]:
    if link.panel_id is None:
        yield "lot", link.facts["mark"], {"plan": link.facts["to"]}
    else:
        yield "panel", link.panel_id, {"plan": link.facts["to"]}


def _panel_scrapped(link: Link) -> Iterator[Tale]:
    yield "panel", link.panel_id, {"time it was scrapped": link.at}


def _put_on_load(link: Link) -> Iterator[Tale]:
    yield "panel", link.panel_id, {"load": link.facts["load"]}


def _taken_off_load(link: Link) -> Iterator[Tale]:
    yield "panel", link.panel_id, {"load": None}


def _load_planned(link: Link) -> Iterator[Tale]:
    not_yet = {"time it was released": None, "person who released it": None}
    yield "load", link.facts["load"], {"leaves_on": link.facts.get("leaves_on"), **not_yet}


def _load_released(link: Link) -> Iterator[Tale]:
    values = {"time it was released": link.at, "person who released it": link.person_id}
    yield "load", link.facts["load"], values


def _nonconformity_opened(link: Link) -> Iterator[Tale]:
    facts = link.facts
    values = {
        "panel": link.panel_id,
        "time it was opened": link.at,
        "person who opened it": link.person_id,
        "text": facts["what"],
        "places": facts.get("places", ""),
        "photos": sorted(facts.get("photos", "").split()),
        "cause": "",
        "correction": "",
        "time it was closed": None,
        "person who closed it": None,
        "way it was closed": None,
        "reading that closed it": None,
    }
    values |= {name: facts[name] for name in ("characteristic", "place", "reading") if name in facts}
    yield "nonconformity", facts["number"], values


def _nonconformity_explained(link: Link) -> Iterator[Tale]:
    values = {"cause": link.facts["cause"], "correction": link.facts["correction"]}
    yield "nonconformity", link.facts["number"], values


def _nonconformity_closed(link: Link) -> Iterator[Tale]:
    values = {
        "time it was closed": link.at,
        "person who closed it": link.person_id,
        "way it was closed": link.facts["how"],
    }
    if "reading" in link.facts:
        values["reading that closed it"] = link.facts["reading"]
    yield "nonconformity", link.facts["number"], values


def _tablet_named(link: Link) -> Iterator[Tale]:
    yield _tablet(link, {})


def _tablet_enrolled(link: Link) -> Iterator[Tale]:
    yield _tablet(link, {"time it was enrolled": link.at, "time it was revoked": None})


def _tablet_revoked(link: Link) -> Iterator[Tale]:
    yield _tablet(link, {"time it was revoked": link.at})


def _tablet(link: Link, values: dict[str, Any]) -> Tale:
    """Older events call a tablet by the name it had then, which another may have by now."""
    named = {"name": link.facts["tablet"], "station": link.facts["station"]}
    if "number" not in link.facts:
        return "tablet", Called(link.facts["tablet"]), {}
    return "tablet", link.facts["number"], named | values


TALES: Mapping[str, Callable[[Link], Iterator[Tale]]] = {
    "plant set up": _plant_set_up,
    "person added": _person_added,
    "role changed": _role_changed,
    "instrument added": _instrument_added,
    "instrument changed": _instrument_changed,
    "instrument taken out of use": _instrument_retired,
    "building added": _building_added,
    "lot booked in": _lot_booked_in,
    "control plan adopted": _plan_adopted,
    "control plan followed": _plan_followed,
    "panel moved to another control plan": _plan_followed,
    "panel scheduled": _panel_scheduled,
    "panel made again": _panel_made_again,
    "panel scrapped": _panel_scrapped,
    "panel put on load": _put_on_load,
    "panel taken off load": _taken_off_load,
    "load planned": _load_planned,
    "load released": _load_released,
    "nonconformity opened": _nonconformity_opened,
    "nonconformity explained": _nonconformity_explained,
    "nonconformity closed": _nonconformity_closed,
    "tablet invited": _tablet_named,
    "tablet enrolled": _tablet_enrolled,
    "tablet moved": _tablet_named,
    "tablet revoked": _tablet_revoked,
}
"""By what events are called."""
