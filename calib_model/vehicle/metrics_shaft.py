"""Metrics of letting go and taking up: disconnection, brake control, friction patches.

Definitions are this project's own, after common practice.
"""

from __future__ import annotations

import numpy as np

from ..controller.outputs import CONNECTED, DISCONNECTED, OPENING, STATES
from ..core.arrays import FloatArray
from ..lookup.reference import lookup
from .metrics import DrivenRun, Metric, NoValue

OPEN_BELOW = 30.0
"""Torque in N.m below which the clutch counts as open for brake control: on ice a rear axle
saturates below 100 N.m (common practice, no source)."""

SETTLED_AFTER = 0.3
PATCH_SECONDS = 3.0
NOTHING_LEFT = 10.0


def _share_disconnected(drive: DrivenRun) -> float:
    return float(np.mean(drive["connected"] < 0.5) * 100.0)


def _reconnections(drive: DrivenRun) -> int:
    connected = drive["connected"] >= 0.5
    return int(np.count_nonzero(connected[1:] & ~connected[:-1]))


def _reconnects_per_hour(drive: DrivenRun) -> float:
    return _reconnections(drive) * 3600.0 / (drive.time.size * drive.trace.tick)


def _reconnect_time(drive: DrivenRun) -> float:
    state = np.rint(drive["controller_state"]).astype(np.int64)
    time = drive.time
    was_open = np.flatnonzero(state == DISCONNECTED)
    if not was_open.size:
        raise NoValue(_never_disconnected(drive, state))
    asked = np.flatnonzero((state[1:] != DISCONNECTED) & (state[:-1] == DISCONNECTED)) + 1
    if not asked.size:
        raise NoValue("Nothing asked for reconnection while the driveshaft was disconnected.")
    longest = 0.0
    for start in asked.tolist():
        back = np.flatnonzero(state[start:] == CONNECTED)
        # Asked for and given up again, with the driveshaft never joined, counts as not completed.
        again = np.flatnonzero(state[start:] == DISCONNECTED)
        if not back.size or (again.size and again[0] < back[0]):
            raise NoValue(_never_reconnected(drive, start))
        longest = max(longest, float(time[start + back[0]] - time[start]))
    return longest


def _never_disconnected(drive: DrivenRun, state: np.ndarray[tuple[int], np.dtype[np.int64]]) -> str:
    if np.any(state == OPENING):
        return "The driveshaft was about to disconnect, but the drive ended before it did."
    return "The driveshaft was never disconnected."


def _never_reconnected(drive: DrivenRun, start: int) -> str:
    """Say by how much the driveshaft misses the axle, and what the set allows."""
    constants = drive.vehicle.constants
    front = (drive["wheel_speed_fl"] + drive["wheel_speed_fr"]) / 2
    wanted = front / 3.6 / constants.wheel_radius * constants.rear_ratio
    apart = np.abs(wanted - drive["shaft_speed"])[start:]
    late = apart[apart.size // 2 :]
    last = STATES[int(drive["controller_state"][-1])]
    text = (
        f"Reconnection was asked for at {drive.time[start]:.2f} s and never completed: the state "
        f"at the end of the drive is {last}, and over the second half of the attempt the "
        f"driveshaft was {late.min():.1f} to {late.max():.1f} rad/s from the front axle"
    )
    window = drive.bound.tables.get("sync_window")
    if window is None:
        return text + "."
    believed = {"shaft_speed": float(drive["shaft_speed"][-1])}
    allowed = float(
        lookup(window, {a.quantity: believed.get(a.quantity, 0.0) for a in window.axes})
    )
    return f"{text}, while the synchronising window ({window.id}) there is {allowed:.1f} rad/s."


def _openings(drive: DrivenRun) -> list[tuple[float, float]]:
    found = [(b.start, b.end) for b in drive.manoeuvre.driver.brakes if b.active]
    if not found:
        raise NoValue("There is no brake intervention.")
    return sorted(found)


def _clutch_opening_time(drive: DrivenRun) -> float:
    torque = drive["clutch_capacity"]
    longest = 0.0
    for start, end in _openings(drive):
        at = np.flatnonzero(drive.since(start, end))
        below = np.flatnonzero(torque[at] < OPEN_BELOW)
        if not below.size:
            raise NoValue(
                f"The clutch can still carry {torque[at].min():.0f} N·m or more all through the "
                f"brake intervention at {start:g} s."
            )
        longest = max(longest, float(drive.time[at[below[0]]] - start))
    return longest


def _residual_torque(drive: DrivenRun) -> float:
    torque = drive["clutch_capacity"]
    found = [
        float(torque[at].max())
        for start, end in _openings(drive)
        if (at := drive.since(start + SETTLED_AFTER, end)).any()
    ]
    if not found:
        raise NoValue(f"Every brake intervention is shorter than {SETTLED_AFTER:g} s.")
    return max(found)


def _crossing(drive: DrivenRun) -> int:
    """Return the tick at which the front wheels reach the last patch."""
    patches = drive.manoeuvre.surface
    if len(patches) < 2:
        raise NoValue("The road is of one kind.")
    over = np.flatnonzero(drive["way"] + drive.vehicle.centre[0] >= patches[-1].start)
    if not over.size:
        raise NoValue("The vehicle does not reach the last patch.")
    return int(over[0])


def _after_patch(drive: DrivenRun) -> tuple[FloatArray, float]:
    """Return what the clutch could carry beyond feed-forward after the patch, and where it settles.

    Feed-forward changes with speed and pedal; what is left over from slip control shows beyond it.
    """
    cross, tick = _crossing(drive), drive.trace.tick
    beyond = drive["clutch_capacity"] - drive["law_feed_forward"]
    after = beyond[cross : cross + round(PATCH_SECONDS / tick)]
    return after, float(np.median(after[-max(1, round(0.5 / tick)) :]))


def _torque_overshoot(drive: DrivenRun) -> float:
    after, settled = _after_patch(drive)
    return max(0.0, float(after.max()) - settled)


def _release_time(drive: DrivenRun) -> float:
    after, settled = _after_patch(drive)
    rest = after - settled
    peak = int(np.argmax(rest))
    if rest[peak] < NOTHING_LEFT:
        raise NoValue(f"There is no torque to release: it stays within {NOTHING_LEFT:g} N·m.")
    below = np.flatnonzero(rest[peak:] <= 0.1 * rest[peak])
    return float((peak + below[0]) * drive.trace.tick)


METRICS = (
    Metric(
        "share_disconnected",
        "Share of time disconnected",
        "%",
        "higher",
        "Time with the driveshaft disconnected, of the whole drive.",
        _share_disconnected,
    ),
    Metric(
        "reconnects_per_hour",
        "Reconnections per hour",
        "1/h",
        "lower",
        "Completed reconnections of the drive, carried forward to an hour.",
        _reconnects_per_hour,
    ),
    Metric(
        "reconnect_time",
        "Reconnection time",
        "s",
        "lower",
        "From leaving the state disconnected to connected; the longest.",
        _reconnect_time,
    ),
    Metric(
        "clutch_opening_time",
        "Clutch opening time",
        "s",
        "lower",
        "From the start of a brake intervention until the clutch can carry less than "
        f"{OPEN_BELOW:g} N·m; the longest.",
        _clutch_opening_time,
    ),
    Metric(
        "residual_torque",
        "Residual torque",
        "N.m",
        "lower",
        f"The most the clutch can carry from {SETTLED_AFTER:g} s after the start of a brake "
        "intervention to its end.",
        _residual_torque,
    ),
    Metric(
        "torque_overshoot",
        "Torque overshoot",
        "N.m",
        "lower",
        f"The most the clutch could carry beyond feed-forward within {PATCH_SECONDS:g} s of the "
        "front wheels reaching grip, above where that settles.",
        _torque_overshoot,
    ),
    Metric(
        "release_time",
        "Release time",
        "s",
        "lower",
        "From the front wheels reaching grip until a tenth of that overshoot is left.",
        _release_time,
    ),
)
