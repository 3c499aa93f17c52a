"""Replay a recording through two sets: what each would have commanded, and who decided.

Run it anywhere; it writes nothing.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import calib_model as cm
from calib_model.controller.binding import bind
from calib_model.evidence.mapping import suggest
from calib_model.evidence.reading import read_recording
from calib_model.evidence.replay import replay
from calib_model.evidence.ticks import on_ticks
from calib_model.vehicle.parameters import read_vehicle

SETS = Path(__file__).parents[1]


def main() -> tuple[float, float]:
    """Replay the snowy round; return the largest commanded torque before and after an edit."""
    content = cm.open_set(SETS / "larch_normal.h5")
    constants = read_vehicle(SETS / "larch_vehicle.toml").constants

    # Which channel gives which input is found by their names; look at it before you trust it.
    recording = read_recording(SETS / "larch_snow_round.csv")
    channels = suggest(recording)
    print(f"{recording.seconds:.0f} s; nothing gives: {', '.join(channels.missing) or 'none'}")
    ticks = on_ticks(recording, channels, constants, bind(content, constants).tick_s)

    # The same drive with the pre-engagement a tenth higher where it is cold.
    edited = cm.edit(content, "pre_engage_torque", "*1.1", at={"ambient_temperature": (-40, 0)})
    before, after = (replay(one, ticks, constants) for one in (content, edited))
    decided = before.decided("pre_engage_torque")
    share = 100 * float(np.mean(decided[before.ran])) if decided is not None else 0.0
    print(f"Pre-engage torque decided {share:.0f} % of the time.")
    torques = [one.output("torque") for one in (before, after)]
    apart = np.nanmax(np.abs(torques[1] - torques[0]))
    print(f"The commanded torque differs by up to {apart:.1f} N·m.")
    largest = tuple(float(np.nanmax(torque)) for torque in torques)
    return largest[0], largest[1]


if __name__ == "__main__":
    print("Largest torque: {:.0f} N·m, then {:.0f} N·m.".format(*main()))
