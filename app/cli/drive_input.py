"""What the verbs about recordings share: the recording, its mapping and the vehicle's constants."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import refuse
from app.cli.parser import VerbParser
from app.vehicle_constants import constants_for
from calib_model.controller.binding import bind
from calib_model.core.text_file import read_text
from calib_model.errors import ModelError
from calib_model.evidence.mapping import TARGETS, ChannelMap, suggest
from calib_model.evidence.reading import inspect_recording, read_recording
from calib_model.evidence.ticks import on_ticks

if TYPE_CHECKING:
    from calib_model.controller.constants import Constants
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.evidence.recording import Fault, Recording
    from calib_model.evidence.ticks import Ticks

HINTS = ("encoding", "separator", "decimal", "time", "time_unit")
MOST_MAP = 1 << 20

MAP_HELP = (
    "--map FILE is a TOML or JSON file; by target, the channel that gives it (with its unit where\n"
    "the file states none, and a factor), or a constant where the recording has none:\n\n"
    "  [pedal]\n"
    '  channel = "AccPedal"\n'
    '  unit = "%"\n'
    "  [ambient_temperature]\n"
    "  value = -12\n\n"
    "Targets are the controller's inputs, wheel_speed_fl/fr/rl/rr, and controller.NAME for the\n"
    "controller's own signals. What the file does not name is found by the channels' names;\n"
    "NAME = false leaves a target without a source although a channel has its name."
)


@dataclass(frozen=True)
class Mapped:
    """What a mapping file says.

    Parameters
    ----------
    given : ChannelMap
    without : tuple of str
        Targets that are to have no source, whatever the channels are called.
    """

    given: ChannelMap
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Driven:
    """A recording on the controller's ticks.

    Parameters
    ----------
    recording : Recording
    ticks : Ticks
    missing : tuple of str
        Inputs that nothing gives.
    """

    recording: Recording
    ticks: Ticks
    missing: tuple[str, ...]


def add_drive_arguments(parser: VerbParser) -> None:
    """Add ``--vehicle``, ``--map`` and ``--layout``."""
    parser.add_argument(
        "--vehicle",
        metavar="FILE",
        type=Path,
        help="vehicle file, for the controller's constants; if left out, the one that the "
        "programme beside SET names, or the Larch",
    )
    parser.add_argument(
        "--map", metavar="FILE", type=Path, help="which channel gives what; see below"
    )
    parser.add_argument(
        "--layout",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        help=f"of a CSV file that leaves a doubt: {', '.join(HINTS)}; repeatable",
    )


def constants_of(chosen: Path | None, set_path: Path) -> tuple[Constants, str]:
    """Return the controller's constants, and where they are from.

    Parameters
    ----------
    chosen : Path or None
        The vehicle file that was named; else the one of the set's programme counts.
    set_path : Path
    """
    found = constants_for(chosen, set_path)
    return found.read(), found.words


def read_map(path: Path | None) -> Mapped | None:
    """Return the mapping in a file; None for no file."""
    if path is None:
        return None

    try:
        text = read_text(path, "a mapping", MOST_MAP)
        plain = tomllib.loads(text) if path.suffix.lower() == ".toml" else json.loads(text)
        if not isinstance(plain, dict):
            raise ValueError("its targets are not named")
        without = [name for name, one in plain.items() if one is False]
        unknown = [name for name in without if name not in TARGETS]
        if unknown:
            raise ValueError(f"{unknown[0]!r} is nothing that a channel can give")
        given = {name: one for name, one in plain.items() if one is not False}
        return Mapped(ChannelMap.from_plain(given), tuple(without))
    except (ValueError, RecursionError) as error:
        refuse(f"{path}: This is no mapping: {error}.", "See the verb's --help.")
    except ModelError as error:
        refuse(f"{path}: {error.problem}", error.remedy)


def hints_of(given: Sequence[str]) -> dict[str, str]:
    """Return what ``--layout`` says, by the name of what it says it of."""
    found = {}
    for text in given:
        key, sign, value = text.partition("=")
        key = key.strip().replace("-", "_")
        if not sign or key not in HINTS:
            refuse(f"--layout {text}: This is none of {', '.join(HINTS)}.", "Write decimal=, .")
        found[key] = "\t" if value in ("tab", "\\t") else value
    return found


def read_drive(
    path: Path,
    mapping: Mapped | None,
    hints: dict[str, str],
    content: CalibrationSet,
    constants: Constants,
) -> Driven:
    """Read a recording and bring it to a set's controller ticks."""
    named: dict[str, Any] = dict(hints)
    layout = inspect_recording(path, **named) if hints else None
    recording = read_recording(path, layout)
    said = (mapping.given, mapping.without) if mapping is not None else ()
    chosen = suggest(recording, *said)
    problems = chosen.problems(recording)
    if problems:
        target, reason = next(iter(problems.items()))
        refuse(f"{path}: {target}: {reason}.", "Mend the mapping (--map).")
    if not len(chosen):
        refuse(
            f"{path}: None of its channels is known by its name.",
            "Say which gives what with --map FILE.",
        )
    ticks = on_ticks(recording, chosen, constants, bind(content, constants).tick_s)
    if not ticks.valid.any():
        refuse(
            f"{path}: At no moment are all mapped inputs there.",
            "Set what is hardly recorded to false in a mapping (--map).",
        )
    return Driven(recording, ticks, chosen.missing)


def fault_plain(fault: Fault) -> dict[str, Any]:
    """Return a fault as plain data."""
    return {
        "kind": fault.kind,
        "channel": fault.channel,
        "start_s": fault.start_s,
        "end_s": fault.end_s,
        "samples": fault.count,
        "words": fault.words,
    }
