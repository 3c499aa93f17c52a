"""Drive a scene with a vehicle and a bound calibration set."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from calib_model.controller.binding import Bound
from calib_model.controller.inputs import INPUTS
from calib_model.controller.outputs import (
    CONNECTED,
    DISCONNECTED,
    DOG,
    OUTPUT_INDEX,
    OUTPUTS,
    SPIN_UP,
)
from calib_model.controller.state import PLATE, STARTED, fresh_state
from calib_model.controller.state import STATE as LAW_STATE
from calib_model.core.arrays import FloatArray
from calib_model.errors import ModelError
from calib_model.vehicle.kernel_layout import (
    COLUMN,
    FINE,
    NOT_FINITE,
    STOPPED,
    TOO_FAST,
    WHEEL_LIFTS,
    WHEEL_TOO_FAST,
    WORK,
    Records,
)
from calib_model.vehicle.model import (
    first_state,
    packed_course,
    packed_curves,
    packed_scene,
    packed_vehicle,
)
from calib_model.vehicle.parameters import Vehicle
from calib_model.vehicle.scene import Scene
from calib_model.vehicle.trace import Trace

STEP = 0.001
"""s."""

_WHEEL_NAMES = ("front left", "front right", "rear left", "rear right")


def simulate(vehicle: Vehicle, bound: Bound, scene: Scene, *, step: float = STEP) -> Trace:
    """Drive a scene.

    Parameters
    ----------
    vehicle : Vehicle
        The truth.
    bound : Bound
        The set's tables, by which the controller acts; what it lacks takes no part.
    scene : Scene
    step : float
        Of the model, s; the controller's tick is a whole number of steps.

    Returns
    -------
    Trace

    Raises
    ------
    ModelError
        If the tick is no whole number of steps.
    """
    from calib_model.vehicle import kernel

    tick = bound.tick_s
    per_tick = round(tick / step)
    if per_tick < 1 or abs(per_tick * step - tick) > 1e-9:
        raise ModelError(
            f"The controller's tick of {tick * 1000:g} ms is no whole number of steps.",
            f"Use a tick that is a multiple of {step * 1000:g} ms.",
        )
    ticks = max(math.ceil(scene.duration / tick - 1e-9), 1)
    run: Any = kernel.run  # its types are those of compiled code
    params = packed_vehicle(vehicle)
    state, wheels = first_state(vehicle, scene)
    n = packed_scene(vehicle, scene, step, tick)
    columns, work = np.zeros(ticks + 1, dtype=COLUMN), np.zeros(1, dtype=WORK)
    if not hasattr(run, "py_func"):  # not compiled: Python reads fields of these only
        params, state, wheels, n, columns, work = (
            a.view(np.recarray) for a in (params, state, wheels, n, columns, work)
        )
    inputs = np.zeros((ticks + 1, len(INPUTS)))
    outputs = np.full((ticks + 1, len(OUTPUTS)), np.nan)
    before = _kinetic(kernel, params, state, wheels)
    why, rows = run(
        bound.bank.arrays,
        bound.constants.array,
        _first_law_state(scene),
        params,
        state,
        wheels,
        n,
        packed_curves(vehicle, scene),
        packed_course(scene),
        columns,
        inputs,
        outputs,
        work,
        ticks * per_tick,
        per_tick,
        round(vehicle["delay"] / step),
        "plate_heat_capacity" in bound.tables and "plate_cooling" in bound.tables,
    )
    columns, inputs, outputs = columns[:rows], inputs[:rows], outputs[:rows]
    named = {name: _read_only(columns[name]) for name in COLUMN.names or ()}
    work["kinetic"] = _kinetic(kernel, params, state, wheels) - before
    governing = np.nan_to_num(outputs[:, OUTPUT_INDEX["governing"]], nan=-1.0).astype(np.int64)
    fixed = not math.isnan(scene.fixed_clutch_torque)
    return Trace(
        MappingProxyType(named),
        _read_only(inputs),
        _read_only(outputs),
        governing,
        tick,
        why in (FINE, STOPPED),
        _words(why, named, vehicle),
        () if fixed else tuple(_remarks(named, outputs, vehicle)),
        MappingProxyType(_ledger(work)),
        {} if fixed else _missing(bound),
    )


def _first_law_state(scene: Scene) -> FloatArray:
    state = fresh_state()
    state[LAW_STATE] = CONNECTED if scene.connected else DISCONNECTED
    # The controller has been on for a while: its estimate of the plates is the scene's.
    state[STARTED], state[PLATE] = 1.0, scene.plate_temperature
    return state


def _kinetic(kernel: Any, params: Records, state: Records, wheels: Records) -> float:
    return float(kernel.kinetic_of(params, state, wheels))


def _read_only(values: Any) -> FloatArray:
    array: FloatArray = np.ascontiguousarray(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _ledger(work: Records) -> dict[str, float]:
    entries = {name: float(work[name][0]) for name in WORK.names or ()}
    spent = sum(v for k, v in entries.items() if k != "drive")
    return {**entries, "residual": entries["drive"] - spent}


def _missing(bound: Bound) -> Mapping[str, str]:
    named = dict.fromkeys(bound.missing, "no table of the set plays this part")
    return MappingProxyType({**named, **bound.unusable})


def _words(why: int, columns: Mapping[str, FloatArray], vehicle: Vehicle) -> str:
    if why in (FINE, STOPPED):
        return ""
    at = f"At {columns['time'][-1]:.2f} s"
    if why == WHEEL_LIFTS:
        loads = [columns[f"load_{w}"][-1] for w in ("fl", "fr", "rl", "rr")]
        wheel = _WHEEL_NAMES[int(np.argmin(loads))]
        return (
            f"{at} the {wheel} wheel lifts off: tipping over is beyond this model. "
            "Drive slower, steer less, or lower the load."
        )
    if why == TOO_FAST:
        return (
            f"{at} the vehicle is faster than {vehicle['speed_most']:g} km/h: "
            "there is no tyre data beyond."
        )
    if why == WHEEL_TOO_FAST:
        return (
            f"{at} a wheel spins faster than {vehicle['wheel_speed_most']:g} km/h: "
            "there is no tyre data beyond."
        )
    assert why == NOT_FINITE
    return f"{at} the model has no finite answer: check the vehicle file and the scene."


def _remarks(columns: Mapping[str, FloatArray], outputs: FloatArray, vehicle: Vehicle) -> list[str]:
    found = []
    mode = columns["controller_state"]
    if mode.size and mode[-1] == SPIN_UP:
        begun = mode.size - 1
        while begun > 0 and mode[begun - 1] == SPIN_UP:
            begun -= 1
        waited = columns["time"][-1] - columns["time"][begun]
        front = 0.5 * (columns["wheel_speed_fl"] + columns["wheel_speed_fr"]) / 3.6
        target = vehicle["rear_ratio"] * front / vehicle["wheel_radius"]
        apart = float(np.abs(target - columns["shaft_speed"])[begun:].min())
        if waited > 1.0:
            found.append(
                f"The reconnection asked for at {columns['time'][begun]:.2f} s never completed: "
                f"the driveshaft came no nearer than {apart:.1f} rad/s to the front axle, outside "
                "the synchronising window. Check the window and the spin-up torque."
            )
    joined = (mode == CONNECTED) & (columns["connected"] < 0.5)
    if joined.any() and mode[-1] not in (SPIN_UP, DOG) and columns["connected"][-1] < 0.5:
        found.append(
            "The dog clutch did not go in although the controller takes the driveshaft as "
            "connected: the speeds were too far apart for its teeth."
        )
    current = outputs[:, OUTPUT_INDEX["current"]]
    if np.isnan(current).any():
        found.append(
            "The controller gave no current at times, because tables it needs are missing; "
            "the clutch was open then."
        )
    return found
