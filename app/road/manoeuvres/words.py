"""What the part Manoeuvres says of a run, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from app.driving.manoeuvre_words import about, vehicle_words
from app.driving.service import Driving
from app.driving.shapes import Case, DeskRun
from app.driving.verdict import number
from app.plain import cut_line

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre

REMARKS = 3
"""That many are written out; the tip of the line has all."""


def case_words(case: Case) -> str:
    """Name a run of a campaign."""
    factors = ", ".join(f"{name.replace('_', ' ')} {number(v)}" for name, v in case.factors.items())
    text = f"Run {case.row + 1} of the campaign with {case.set_name}"
    return f"{text} ({factors})" if factors else text


def why_nothing(driving: Driving, now: DeskRun | None) -> str:
    """Say why no trace is drawn."""
    if now is not None and not now.completed:
        return f"Nothing is plotted: {now.why}"
    if driving.desk.current is None:
        return "No set is open. Open one, and every manoeuvre can be driven with it."
    if driving.state == "preparing":
        return "Preparing the simulation…"
    return "Not driven yet: press Enter on a manoeuvre, or Ctrl+F11."


def state_words(
    driving: Driving, manoeuvre: Manoeuvre | None, now: DeskRun | None, case: Case | None
) -> str:
    """Say how the simulation stands, how the run ended, and what took no part in it."""
    parts = []
    if driving.state == "preparing":
        parts.append("Preparing the simulation… (once after an update; all else goes on)")
    elif driving.state == "failed":
        parts.append(warned(driving.trouble))
    elif not driving.model.compiled:
        parts.append(
            "The compiler (numba) is not installed here: a manoeuvre takes long and is driven "
            "when asked for only."
        )
    if driving.state == "ready" and driving.trouble:
        parts.append(warned(driving.trouble))
    if case is not None:
        parts.append(f"{case_words(case)}.")
    if manoeuvre is None:
        return " ".join(parts)
    if now is None:
        return " ".join([*parts, about(manoeuvre)])
    if now.completed:
        driven = f", {cut_line(vehicle_words(now.vehicle))}" if now.vehicle is not None else ""
        parts.append(f"{cut_line(manoeuvre.name)}: desk estimates{driven}.")
        parts += [warned(now.why)] if now.why else []
    else:
        parts.append(warned(f"{cut_line(manoeuvre.name)} was not completed: {now.why}"))
    parts += [warned(remark) for remark in now.remarks[:REMARKS]]
    if len(now.remarks) > REMARKS:
        parts.append(f"And {len(now.remarks) - REMARKS} more; the tip of this line has all.")
    if now.completed:
        parts += [f"{r.metric.label}: {r.why}" for r in now.readings.values() if r.why]
    return " ".join(parts)


def warned(text: str) -> str:
    """Return a text with the sign of a warning."""
    return f"\N{WARNING SIGN} {text}"
