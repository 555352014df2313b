"""What differs between two versions of a control plan."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from qc_app.plan.characteristic import Band, Basis, Characteristic, Tolerance
from qc_app.plan.control_plan import ControlPlan, Kind, Station

MADE_OF = {
    "source": "target",
    "target": "target",
    "basis": "limits",
    "tolerance": "limits",
    "bands": "limits",
}
"""What of a characteristic people change as one thing, and its name."""


class Change(StrEnum):
    """What happened to a thing."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


class Part(StrEnum):
    """The part of a plan that a difference is in."""

    PLAN = "plan"
    STATION = "station"
    KIND = "kind"
    CHARACTERISTIC = "characteristic"


@dataclass(frozen=True)
class Difference:
    """One difference. ``key`` and ``name`` are those of the station, kind or characteristic, new if changed.

    ``field`` is what was changed, empty for something added or removed as a whole; ``was`` and ``now`` are
    its values: a ``LimitsSaid`` for limits, a ``TargetSaid`` for targets, else the value that the plan has
    there. ``kinds`` are the kinds of panel that a difference of a characteristic is about.
    """

    part: Part
    change: Change
    key: str
    name: str
    field: str = ""
    was: Any = None
    now: Any = None
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True)
class LimitsSaid:
    """Limits as a characteristic has them."""

    basis: Basis
    tolerance: Tolerance
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class TargetSaid:
    """Where a target comes from, and its amount where the plan states one."""

    source: str
    amount: int | None


def compare(old: ControlPlan, new: ControlPlan) -> list[Difference]:
    """All differences: of the plan itself, then stations, kinds and characteristics in the new order."""
    return [
        *_of_plan(old, new),
        *_of_stations(old, new),
        *_of_kinds(old, new),
        *_of_characteristics(old, new),
    ]


def _of_plan(old: ControlPlan, new: ControlPlan) -> Iterable[Difference]:
    for field in ("name", "rules"):
        if getattr(old, field) != getattr(new, field):
            yield _plan_difference(field, getattr(old, field), getattr(new, field))
    for kind in sorted({*old.uncertainties, *new.uncertainties}):
        was, now = old.uncertainties.get(kind), new.uncertainties.get(kind)
        if was != now:
            yield _plan_difference("uncertainty", was, now, kind)
    for language in sorted({*old.translations, *new.translations}):
        before, after = old.translations.get(language, {}), new.translations.get(language, {})
        for text in [t for t in {**before, **after} if before.get(t) != after.get(t)]:
            yield _plan_difference("translation", before.get(text), after.get(text), f"{language}: {text}")
    for field, listed in (("order of stations", "stations"), ("order of checks", "characteristics")):
        earlier, later = _in_common(getattr(old, listed), getattr(new, listed))
        if earlier != later:
            yield _plan_difference(field, earlier, later)


def _plan_difference(field: str, was: Any, now: Any, key: str = "") -> Difference:
    return Difference(Part.PLAN, Change.CHANGED, key, key, field, was, now)


def _in_common(old: Iterable[Any], new: Iterable[Any]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Keys of the things in both, in the order of each."""
    before, after = ({thing.key: thing.name for thing in listed} for listed in (old, new))
    return tuple(key for key in before if key in after), tuple(key for key in after if key in before)


def _of_stations(old: ControlPlan, new: ControlPlan) -> Iterable[Difference]:
    return _of_tables(Part.STATION, {s.key: s for s in old.stations}, {s.key: s for s in new.stations})


def _of_kinds(old: ControlPlan, new: ControlPlan) -> Iterable[Difference]:
    return _of_tables(Part.KIND, {k.key: k for k in old.kinds}, {k.key: k for k in new.kinds})


def _of_tables(
    part: Part, old: Mapping[str, Station | Kind], new: Mapping[str, Station | Kind]
) -> Iterable[Difference]:
    for key in [*new, *(key for key in old if key not in new)]:
        before, after = old.get(key), new.get(key)
        if before is None and after is not None:
            yield Difference(part, Change.ADDED, key, after.name)
        elif before is not None and after is None:
            yield Difference(part, Change.REMOVED, key, before.name)
        elif before is not None and after is not None:
            for field in (f.name for f in fields(after)):
                was, now = getattr(before, field), getattr(after, field)
                if was != now:
                    yield Difference(part, Change.CHANGED, key, after.name, field, was, now)


def _of_characteristics(old: ControlPlan, new: ControlPlan) -> Iterable[Difference]:
    """Differences of characteristics; the same one on several kinds of panel is told once."""
    before = {(c.key, c.kind): c for c in old.characteristics}
    after = {(c.key, c.kind): c for c in new.characteristics}
    told: dict[tuple[Any, ...], list[str]] = {}
    for key, kind in [*after, *(pair for pair in before if pair not in after)]:
        for difference in _of_characteristic(before.get((key, kind)), after.get((key, kind))):
            told.setdefault(difference, []).append(kind)
    for (change, key, name, field, was, now), kinds in told.items():
        yield Difference(Part.CHARACTERISTIC, change, key, name, field, was, now, tuple(kinds))


def _of_characteristic(old: Characteristic | None, new: Characteristic | None) -> Iterable[tuple[Any, ...]]:
    if old is None and new is not None:
        yield Change.ADDED, new.key, new.name, "", None, None
    elif old is not None and new is None:
        yield Change.REMOVED, old.key, old.name, "", None, None
    elif old is not None and new is not None:
        was, now = _said(old), _said(new)
        for field in was:
            if was[field] != now[field]:
                yield Change.CHANGED, new.key, new.name, field, was[field], now[field]


def _said(characteristic: Characteristic) -> dict[str, Any]:
    """What a characteristic says by the names people know; a method by its key."""
    said: dict[str, Any] = {
        field.name: getattr(characteristic, field.name)
        for field in fields(characteristic)
        if field.name not in ("key", "kind", *MADE_OF)
    }
    said["method"] = characteristic.method.key
    said["target"] = TargetSaid(characteristic.source, characteristic.target)
    said["limits"] = LimitsSaid(characteristic.basis, characteristic.tolerance, characteristic.bands)
    return said
