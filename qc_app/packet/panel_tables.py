"""What stands in a panel's tables beside a check, and the short tables of its bays and penetrations."""

from collections.abc import Sequence
from typing import Any

from qc_app.packet.panel_record import CheckLine, PanelRecord, ToldIn
from qc_app.packet.reading_line import Fate, ReadingLine, State
from qc_app.packet.wording import photos_text, short_time


def beside(check: CheckLine) -> list[str]:
    """Sentences under a check: its earlier readings, then the note and the photos of the newest."""
    said = [_earlier(line, first=number == 0) for number, line in enumerate(check.earlier)]
    newest = check.newest
    if check.accepted:
        said.append(check.accepted)
    if newest and newest.note:
        said.append(f"Note: {newest.note}")
    if newest and newest.photos:
        said.append(f"{photos_text(newest.photos)}.")
    return said


def _earlier(line: ReadingLine, *, first: bool) -> str:
    entered = "" if line.entered == line.value else f" (entered {line.entered})"
    fate = "measured again"
    if line.fate is Fate.CORRECTED:
        fate = "corrected" + (f", because: {line.corrected_because}" if line.corrected_because else "")
    parts = (
        f"{'First' if first else 'Then'} {line.value}{entered}, {line.verdict.value}, "
        f"{short_time(line.measured_at)}, {line.by}; {fate.rstrip('.')}.",
        f"Faults {line.where}." if line.where else "",
        f"Note: {line.note}" if line.note else "",
        f"{photos_text(line.photos)}." if line.photos else "",
    )
    return " ".join(part for part in parts if part)


def bay_fills(panel: PanelRecord) -> dict[str, Any] | None:
    """The mass blown into each bay, as a table; None for a panel that is not filled.

    What all rows share, limits and who measured, is said once in ``shared``.
    """
    checks = [check for check in panel.checks if check.told_in is ToldIn.BAYS]
    if not checks:
        return None
    limits = {_limits(check) for check in checks}
    by = {_by(check.newest) for check in checks if check.newest}
    shared = [*(limits if len(limits) == 1 else ()), *(by if len(by) == 1 else ())]
    return {
        "name": checks[0].name,
        "shared": "; ".join(shared),
        "rows": [_row(check, own_limits=len(limits) > 1, own_by=len(by) > 1) for check in checks],
    }


def _limits(check: CheckLine) -> str:
    return f"{check.limits}, target {check.target}" if check.target else check.limits


def _by(line: ReadingLine) -> str:
    return ", ".join((line.by, *line.instruments))


def _row(check: CheckLine, *, own_limits: bool, own_by: bool) -> dict[str, Any]:
    line = check.newest
    typed = line.typed if line else {}
    return {
        "bay": check.place.removeprefix("bay "),
        "setting": typed.get("setting", ""),
        "mass": typed.get("mass", ""),
        "seconds": typed.get("seconds", ""),
        "density": line.value if line else "",
        "spread": line.spread if line else "",
        "limits": _limits(check) if own_limits else "",
        "deviation": line.deviation if line else "",
        "state": check.state.value,
        "measured_at": short_time(line.measured_at) if line else "",
        "by": _by(line) if line and own_by else "",
        "beside": beside(check),
    }


def penetrations(panel: PanelRecord) -> dict[str, Any] | None:
    """The penetrations one by one, with a column for each check made on them; None where there are none."""
    checks = [check for check in panel.checks if check.told_in is ToldIn.PENETRATIONS]
    if not checks:
        return None
    names = list(dict.fromkeys(check.name for check in checks))
    places = dict.fromkeys(check.place for check in checks)
    of = {(check.place, check.name): check for check in checks}
    return {
        "names": names,
        "rows": [_penetration([of.get((place, name)) for name in names]) for place in places],
    }


def _penetration(checks: Sequence[CheckLine | None]) -> dict[str, Any]:
    known = [check for check in checks if check is not None]
    return {
        "mark": known[0].place.removeprefix("penetration "),
        "detail": known[0].detail,
        "checks": [None if check is None else _looked_at(check) for check in checks],
        "beside": [f"{check.name}: {said}" for check in known for said in beside(check)],
    }


def _looked_at(check: CheckLine) -> dict[str, str]:
    line = check.newest
    faults = "; ".join(text for text in (line.value, line.where) if text) if line else ""
    return {
        "state": check.state.value,
        "faults": "" if check.state is State.WITHIN else faults,
        "measured": f"{short_time(line.measured_at)}, {_by(line)}" if line else "",
    }
