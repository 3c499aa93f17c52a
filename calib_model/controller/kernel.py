# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The torque law itself, one tick of it and the loop over many; compiled where numba works.

`step` is what a simulation calls from its own compiled loop.  Nothing here knows of Python
objects: tables come as `Bank.arrays` with one slot per role, constants as `Constants.array`, the
state is laid out in `calib_model.controller.state`, inputs and outputs lie in the order of
`INPUTS` and `OUTPUTS`.  A role without a table takes no part.

Tables are read with the values that the controller stores (see `binding`); the commanded current
is rounded to the raster of the applying branch.  All else is float64.

Import late: it brings numba where there is one.
"""

from __future__ import annotations

import math

from calib_model.controller import formulas
from calib_model.controller.constants import (
    FRICTION,
    KMH_PER_SHAFT,
    STEERING_RATIO,
    TORQUE_PER_FRICTION,
    TURN_THRESHOLD,
    UNDERSTEER_GRADIENT,
    WHEELBASE,
)
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.controller.kernel_clutch import clamp_limit, current_for, current_limit
from calib_model.controller.kernel_shaft import driveshaft
from calib_model.controller.outputs import (
    CONNECTED,
    DOG,
    OUTPUT_INDEX,
    OUTPUTS,
    ROLE_INDEX,
    SPIN_UP,
)
from calib_model.controller.state import (
    INTEGRAL,
    LIKELIHOOD,
    PLATE,
    STARTED,
    TORQUE,
    USED,
    WAITED,
)
from calib_model.lookup.bank_kernel import bank_type, present, read
from calib_model.lookup.portable import (
    float_grid,
    float_rows,
    floats,
    jit,
    nothing,
    number,
    output,
    switches,
    whole,
)

_PRE, _FADE = ROLE_INDEX["pre_engage_torque"], ROLE_INDEX["pre_engage_fade"]
_CRUISE, _HILL = ROLE_INDEX["cruise_base_torque"], ROLE_INDEX["hill_torque"]
_AMBIENT, _WIPER = ROLE_INDEX["ambient_factor"], ROLE_INDEX["wiper_factor"]
_MEMORY = ROLE_INDEX["low_grip_memory"]
_EXPECTED, _BAND = ROLE_INDEX["expected_axle_difference"], ROLE_INDEX["slip_dead_band"]
_TARGET, _GAIN = ROLE_INDEX["slip_target"], ROLE_INDEX["slip_gain"]
_GROWTH, _RELEASE = ROLE_INDEX["slip_integral_gain"], ROLE_INDEX["slip_integral_release"]
_YAW, _YAW_BAND = ROLE_INDEX["yaw_error_torque"], ROLE_INDEX["yaw_dead_band"]
_STEERING, _LATERAL = ROLE_INDEX["steering_limit"], ROLE_INDEX["lateral_limit"]
_BRAKING, _APPLY = ROLE_INDEX["brake_control_torque"], ROLE_INDEX["current_for_clamp_apply"]
_INSIDE, _BESIDE = ROLE_INDEX["inside_rear_brake"], ROLE_INDEX["clutch_during_inside_brake"]
_RISE, _FALL = ROLE_INDEX["torque_rise_slew"], ROLE_INDEX["torque_fall_slew"]
_SPIN_UP, _AWAY = ROLE_INDEX["spin_up_torque"], ROLE_INDEX["disconnect_speed"]
_CAPACITY, _COOLING = ROLE_INDEX["plate_heat_capacity"], ROLE_INDEX["plate_cooling"]
_PLATE_FRICTION = ROLE_INDEX["plate_friction"]

_I_STEERING, _I_STEERING_ABS = INPUT_INDEX["steering_angle"], INPUT_INDEX["steering_angle_abs"]
_I_LATERAL = INPUT_INDEX["lateral_acceleration"]
_I_LATERAL_ABS = INPUT_INDEX["lateral_acceleration_abs"]
_I_YAW, _I_YAW_ERROR = INPUT_INDEX["yaw_rate"], INPUT_INDEX["yaw_rate_error"]
_I_AXLES, _I_SLIP = INPUT_INDEX["axle_speed_difference"], INPUT_INDEX["front_slip"]
_I_PLATE_SLIP, _I_POWER = INPUT_INDEX["plate_slip_speed"], INPUT_INDEX["slip_power"]
_I_PLATE, _I_OIL = INPUT_INDEX["plate_temperature"], INPUT_INDEX["oil_temperature"]
_I_SPEED, _I_SHAFT_TARGET = INPUT_INDEX["vehicle_speed"], INPUT_INDEX["shaft_speed_target"]
_I_ERROR, _I_BRAKE = INPUT_INDEX["slip_error"], INPUT_INDEX["brake_state"]
_I_INSIDE = INPUT_INDEX["inside_brake_request"]

_O_PRE, _O_CRUISE, _O_HILL = (OUTPUT_INDEX[n] for n in ("pre_engage", "cruise", "hill"))
_O_FORWARD, _O_DEMAND = OUTPUT_INDEX["feed_forward"], OUTPUT_INDEX["demand"]
_O_SLIP, _O_ERROR = OUTPUT_INDEX["slip"], OUTPUT_INDEX["slip_error"]
_O_INTEGRAL, _O_SLIP_DEMAND = OUTPUT_INDEX["integral"], OUTPUT_INDEX["slip_demand"]
_O_YAW = OUTPUT_INDEX["yaw_term"]
_O_STEERING, _O_LATERAL = OUTPUT_INDEX["limit_steering"], OUTPUT_INDEX["limit_lateral"]
_O_CLAMP_LIMIT, _O_CURRENT_LIMIT = OUTPUT_INDEX["limit_clamp"], OUTPUT_INDEX["limit_current"]
_O_BRAKING = OUTPUT_INDEX["limit_brake_control"]
_O_BESIDE = OUTPUT_INDEX["limit_inside_brake"]
_O_LIMITED, _O_TORQUE = OUTPUT_INDEX["limited"], OUTPUT_INDEX["torque"]
_O_CLAMP, _O_CURRENT = OUTPUT_INDEX["clamp"], OUTPUT_INDEX["current"]
_O_INSIDE, _O_LIKELIHOOD = OUTPUT_INDEX["inside_brake"], OUTPUT_INDEX["low_grip_likelihood"]
_O_PLATE, _O_WAIT = OUTPUT_INDEX["plate_temperature"], OUTPUT_INDEX["disconnect_wait"]
_O_STATE, _O_GOVERNING = OUTPUT_INDEX["state"], OUTPUT_INDEX["governing"]
_O_BRANCH, _O_CURRENT_BY = OUTPUT_INDEX["branch"], OUTPUT_INDEX["current_by"]
_O_SHAFT_BY = OUTPUT_INDEX["shaft_by"]
_OUTPUT_COUNT = len(OUTPUTS)

_reference_yaw_rate = jit()(formulas.reference_yaw_rate_deg)
_yaw_rate_error = jit()(formulas.yaw_rate_error_deg)
_shaft_speed_target = jit()(formulas.shaft_speed_target_rad)
_front_slip = jit()(formulas.front_slip_kmh)
_slip_power = jit()(formulas.slip_power_watt)


@jit(bank_type, floats, number, output, output, returns=nothing)
def complete(bank, constants, tick_s, state, x):
    """Work out the inputs that nobody gave (NaN), as far as they can be."""
    if math.isnan(x[_I_STEERING_ABS]):
        x[_I_STEERING_ABS] = abs(x[_I_STEERING])
    if math.isnan(x[_I_LATERAL_ABS]):
        x[_I_LATERAL_ABS] = abs(x[_I_LATERAL])
    if math.isnan(x[_I_YAW_ERROR]) and not math.isnan(x[_I_YAW]):
        reference = _reference_yaw_rate(
            x[_I_STEERING],
            x[_I_SPEED],
            constants[WHEELBASE],
            constants[STEERING_RATIO],
            constants[UNDERSTEER_GRADIENT],
        )
        error = _yaw_rate_error(reference, x[_I_YAW], constants[TURN_THRESHOLD])
        x[_I_YAW_ERROR] = error
    if math.isnan(x[_I_SLIP]):
        expected = read(bank, _EXPECTED, x) if present(bank, _EXPECTED) else 0.0
        x[_I_SLIP] = _front_slip(x[_I_AXLES], expected, constants[KMH_PER_SHAFT])
    if math.isnan(x[_I_PLATE_SLIP]):
        x[_I_PLATE_SLIP] = abs(x[_I_AXLES])
    if math.isnan(x[_I_SHAFT_TARGET]):
        x[_I_SHAFT_TARGET] = _shaft_speed_target(x[_I_SPEED], x[_I_AXLES], constants[KMH_PER_SHAFT])
    if math.isnan(x[_I_POWER]):
        x[_I_POWER] = _slip_power(state[TORQUE], x[_I_PLATE_SLIP])
    if (
        math.isnan(x[_I_PLATE])
        and present(bank, _CAPACITY)
        and present(bank, _COOLING)
        and not math.isnan(x[_I_OIL])
    ):
        if state[STARTED] == 0.0:
            state[PLATE] = x[_I_OIL]
        else:
            away = read(bank, _COOLING, x) * (state[PLATE] - x[_I_OIL])
            state[PLATE] += tick_s * (x[_I_POWER] - away) / read(bank, _CAPACITY, x)
        x[_I_PLATE] = state[PLATE]


@jit(bank_type, floats, output, returns=number)
def feed_forward(bank, x, out):
    """Fill in the feed-forward branches; return the number of the role that is largest."""
    by = -1
    most = 0.0
    torque = 0.0
    if present(bank, _PRE):
        torque = read(bank, _PRE, x)
        if present(bank, _FADE):
            torque *= read(bank, _FADE, x)
        if torque > most:
            most, by = torque, _PRE
    out[_O_PRE] = torque
    torque = 0.0
    if present(bank, _CRUISE):
        torque = read(bank, _CRUISE, x)
        if present(bank, _AMBIENT):
            torque *= read(bank, _AMBIENT, x)
        if present(bank, _WIPER):
            torque *= read(bank, _WIPER, x)
        if torque > most:
            most, by = torque, _CRUISE
    out[_O_CRUISE] = torque
    torque = 0.0
    if present(bank, _HILL):
        torque = read(bank, _HILL, x)
        if torque > most:
            most, by = torque, _HILL
    out[_O_HILL] = torque
    out[_O_FORWARD] = most
    return float(by)


@jit(bank_type, number, output, output, output, returns=number)
def slip_control(bank, tick_s, state, x, out):
    """Fill in slip control; return the number of the role whose phase this is."""
    slip = x[_I_SLIP]
    error = 0.0
    proportional = 0.0
    by = _RELEASE
    out[_O_SLIP] = slip
    if not (present(bank, _GAIN) and present(bank, _TARGET)):
        out[_O_ERROR] = math.nan
        x[_I_ERROR] = math.nan
        out[_O_SLIP_DEMAND] = 0.0
        state[LIKELIHOOD] = 0.0
        return -1.0
    band = read(bank, _BAND, x) if present(bank, _BAND) else 0.0
    if slip <= band:
        if present(bank, _RELEASE):
            state[INTEGRAL] -= read(bank, _RELEASE, x) * tick_s
        else:
            state[INTEGRAL] = 0.0
        if not state[INTEGRAL] > 0.0:
            state[INTEGRAL] = 0.0
        x[_I_ERROR] = 0.0
    else:
        target = read(bank, _TARGET, x)
        if slip <= target:
            by = _GROWTH
            x[_I_ERROR] = 0.0
        else:
            by = _GAIN
            error = slip - target
            x[_I_ERROR] = error
            proportional = read(bank, _GAIN, x) * error
            if present(bank, _GROWTH):
                state[INTEGRAL] += read(bank, _GROWTH, x) * error * tick_s
    out[_O_ERROR] = error
    out[_O_SLIP_DEMAND] = proportional + state[INTEGRAL]
    if not present(bank, _MEMORY):
        state[LIKELIHOOD] = 0.0
    elif error > 0.0:
        state[LIKELIHOOD] = 1.0
    elif state[LIKELIHOOD] > 0.0:
        seconds = read(bank, _MEMORY, x)
        left = state[LIKELIHOOD] - tick_s / seconds if seconds > 0.0 else 0.0
        # A thousandth of a tick is no memory: sums of ticks are not exact.
        state[LIKELIHOOD] = left if left > 1e-9 else 0.0
    return float(by)


@jit(bank_type, floats, output, returns=nothing)
def limits(bank, x, out):
    """Fill in the limits on the torque, infinite where one does not act."""
    # Nothing below zero: a negative limit is a mistake in a table, no torque the other way.
    limit = math.inf
    if present(bank, _BRAKING) and x[_I_BRAKE] >= 0.5:
        limit = read(bank, _BRAKING, x)
    out[_O_BRAKING] = 0.0 if limit < 0.0 else limit

    brake = 0.0
    limit = math.inf
    if present(bank, _INSIDE) and x[_I_INSIDE] >= 0.5:
        brake = read(bank, _INSIDE, x)
        if brake > 0.0 and present(bank, _BESIDE):
            limit = read(bank, _BESIDE, x)
    out[_O_INSIDE] = 0.0 if brake < 0.0 else brake
    out[_O_BESIDE] = 0.0 if limit < 0.0 else limit

    limit = read(bank, _STEERING, x) if present(bank, _STEERING) else math.inf
    out[_O_STEERING] = 0.0 if limit < 0.0 else limit
    limit = read(bank, _LATERAL, x) if present(bank, _LATERAL) else math.inf
    out[_O_LATERAL] = 0.0 if limit < 0.0 else limit


@jit(bank_type, number, output, output, output, returns=whole)
def asked_for(bank, tick_s, state, x, out):
    """Fill in the torque that is asked for; return the number of the role that asks most."""
    branch = int(feed_forward(bank, x, out))
    slip_by = int(slip_control(bank, tick_s, state, x, out))
    base = out[_O_FORWARD]
    if out[_O_SLIP_DEMAND] > base:
        base, branch = out[_O_SLIP_DEMAND], slip_by
    yaw = 0.0
    if present(bank, _YAW):
        within = present(bank, _YAW_BAND) and abs(x[_I_YAW_ERROR]) <= read(bank, _YAW_BAND, x)
        if not within:
            yaw = read(bank, _YAW, x)
    demand = base + yaw
    out[_O_YAW] = yaw
    out[_O_DEMAND] = 0.0 if demand < 0.0 else demand
    out[_O_BRANCH] = branch
    return _YAW if abs(yaw) > base else branch


@jit(bank_type, floats, output, number, whole, whole, whole, output, returns=whole)
def allowed(bank, constants, x, per_clamp, clamp_by, mode, governing, out):
    """Fill in what limits and driveshaft leave of the demand; return who governs now.

    The limits themselves lie in `out` already; `clamp_by` is who limits the clamp, `per_clamp`
    the torque per newton of it, `mode` the driveshaft's state, `governing` who asked.
    """
    limited = out[_O_DEMAND]
    if mode in (SPIN_UP, DOG):
        limited, governing = 0.0, -1
        if present(bank, _SPIN_UP):
            limited, governing = read(bank, _SPIN_UP, x), _SPIN_UP
    elif mode != CONNECTED:
        governing = _AWAY if limited > 0.0 else -1
        limited = 0.0
    if out[_O_BRAKING] < limited:
        limited, governing = out[_O_BRAKING], _BRAKING
    if mode == CONNECTED:
        # While the dog clutch is open no torque reaches the tyres: these do not matter then.
        if out[_O_BESIDE] < limited:
            limited, governing = out[_O_BESIDE], _BESIDE
        if out[_O_STEERING] < limited:
            limited, governing = out[_O_STEERING], _STEERING
        if out[_O_LATERAL] < limited:
            limited, governing = out[_O_LATERAL], _LATERAL
    if out[_O_CLAMP_LIMIT] < limited:
        limited, governing = out[_O_CLAMP_LIMIT], clamp_by
    out[_O_CURRENT_LIMIT] = math.inf
    if per_clamp > 0.0:
        most = current_limit(bank, constants, x, limited / per_clamp) * per_clamp
        out[_O_CURRENT_LIMIT] = most
        if most < limited:
            limited, governing = most, _APPLY
    out[_O_LIMITED] = limited
    return governing


@jit(bank_type, number, output, floats, whole, output, returns=whole)
def slewed(bank, tick_s, state, x, governing, out):
    """Let the torque move no faster than it may; return who governs now."""
    torque = out[_O_LIMITED]
    if torque > state[TORQUE]:
        if present(bank, _RISE):
            reached = state[TORQUE] + read(bank, _RISE, x) * tick_s
            if reached < torque:
                torque, governing = reached, _RISE
    elif torque < state[TORQUE] and present(bank, _FALL):
        reached = state[TORQUE] - read(bank, _FALL, x) * tick_s
        if reached > torque:
            torque, governing = reached, _FALL
    state[TORQUE] = torque
    out[_O_TORQUE] = torque
    return governing


@jit(bank_type, floats, number, floats, output, output, returns=nothing)
def step(bank, constants, tick_s, inputs, state, out):
    """Run one tick of the controller.

    Parameters
    ----------
    bank : tuple of two arrays
        `Bank.arrays`, one slot per role.
    constants : float array
        `Constants.array`.
    tick_s : float
        Controller tick in s.
    inputs : float array, shape (len(INPUTS),)
        NaN where not given; the law then works it out itself if it can.  Every other input of a
        table in the bank must be a number: see `law.prepared`.
    state : float array, shape (STATE_SIZE,)
        Changed in place; its part from `USED` on are the inputs as used.
    out : float array, shape (len(OUTPUTS),)
        Filled.
    """
    x = state[USED:]
    for i in range(x.size):
        x[i] = inputs[i]
    complete(bank, constants, tick_s, state, x)

    governing = asked_for(bank, tick_s, state, x, out)

    # What is allowed.
    friction = constants[FRICTION]
    if present(bank, _PLATE_FRICTION):
        friction = read(bank, _PLATE_FRICTION, x)
    per_clamp = constants[TORQUE_PER_FRICTION] * friction
    if per_clamp < 0.0:
        per_clamp = 0.0  # plates without friction carry nothing, whatever presses them
    limits(bank, x, out)
    clamp_most, clamp_by = clamp_limit(bank, x)
    if per_clamp > 0.0:
        out[_O_CLAMP_LIMIT] = clamp_most * per_clamp
    else:
        out[_O_CLAMP_LIMIT] = 0.0
        clamp_by = _PLATE_FRICTION
    mode = driveshaft(bank, constants, tick_s, state, x, out[_O_SLIP_DEMAND], out)
    governing = allowed(bank, constants, x, per_clamp, clamp_by, mode, governing, out)

    # The integral keeps to what limits and driveshaft leave of it, so that it never winds up.
    if out[_O_LIMITED] < out[_O_DEMAND]:
        room = out[_O_LIMITED] - out[_O_YAW] - (out[_O_SLIP_DEMAND] - state[INTEGRAL])
        if state[INTEGRAL] > room:
            state[INTEGRAL] = room if room > 0.0 else 0.0

    governing = slewed(bank, tick_s, state, x, governing, out)
    clamp = out[_O_TORQUE] / per_clamp if per_clamp > 0.0 else 0.0
    current, current_by = current_for(bank, constants, tick_s, state, x, clamp, mode)

    state[STARTED] = 1.0
    out[_O_INTEGRAL] = state[INTEGRAL]
    out[_O_CLAMP] = clamp
    out[_O_CURRENT] = current
    out[_O_LIKELIHOOD] = state[LIKELIHOOD]
    out[_O_PLATE] = x[_I_PLATE]
    out[_O_WAIT] = state[WAITED]
    out[_O_STATE] = mode
    out[_O_GOVERNING] = governing
    out[_O_CURRENT_BY] = current_by


@jit(
    bank_type,
    floats,
    number,
    float_rows,
    switches,
    output,
    float_grid,
    float_grid,
    returns=nothing,
)
def run_ticks(bank, constants, tick_s, inputs, good, state, out, used):
    """Run the law over ticks; after one that is no good it starts afresh.

    Parameters
    ----------
    inputs : float array, shape (T, len(INPUTS))
    good : bool array, shape (T,)
        Elsewhere outputs and used inputs are NaN.
    out, used : float arrays, shapes (T, len(OUTPUTS)) and (T, len(INPUTS))
        Filled: outputs, and inputs as used.
    """
    for k in range(good.size):
        if good[k]:
            step(bank, constants, tick_s, inputs[k], state, out[k])
            for i in range(used.shape[1]):
                used[k, i] = state[USED + i]
        else:
            for i in range(state.size):
                state[i] = 0.0
            for i in range(_OUTPUT_COUNT):
                out[k, i] = math.nan
            for i in range(used.shape[1]):
                used[k, i] = math.nan


@jit(bank_type, floats, float_rows, switches, output, float_grid, float_grid, returns=nothing)
def run_points(bank, constants, inputs, good, state, out, used):
    """Run the law at points that have nothing to do with each other: no time passes.

    See `run_ticks`; every point starts afresh.
    """
    for k in range(good.size):
        for i in range(state.size):
            state[i] = 0.0
        if good[k]:
            step(bank, constants, 0.0, inputs[k], state, out[k])
            for i in range(used.shape[1]):
                used[k, i] = state[USED + i]
        else:
            for i in range(_OUTPUT_COUNT):
                out[k, i] = math.nan
            for i in range(used.shape[1]):
                used[k, i] = math.nan
