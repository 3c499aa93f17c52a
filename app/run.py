"""Start Bitepoint from a clone: `python3 app/run.py [--with EXTRAS] [--newest] [FILES or VERB]`.

Sets the machine up on the first start. Without arguments it opens the sample sets.  ``--with
recordings,cluster`` installs optional groups of libraries as well; they stay installed.
``--newest`` takes the newest libraries in place of those that the tests passed with.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# Started as a script, this folder stands first on the path, where `app` would not be found and
# our own modules could hide the standard library's.
sys.path[0] = str(ROOT)

from app import bootstrap  # noqa: E402

SAMPLES = ("larch_normal.h5", "larch_low_grip.h5", "larch_towing.h5")


EXTRAS = ("recordings", "cluster")


def main(arguments: list[str]) -> int:
    """Set up, then hand over to the app; returns an exit status."""
    extras: list[str] = []
    newest = False
    while arguments[:1] in (["--with"], ["--newest"]):
        if arguments[0] == "--newest":
            newest, arguments = True, arguments[1:]
            continue
        extras = [name for name in "".join(arguments[1:2]).split(",") if name]
        arguments = arguments[2:]
        if not extras or not set(extras) <= set(EXTRAS):
            print(f"--with takes one or more of {', '.join(EXTRAS)}.", file=sys.stderr)
            return 2
    try:
        python = bootstrap.ensure_environment(extras=extras, newest=newest, compiled=True)
    except bootstrap.SetupError as problem:
        print(f"Bitepoint set-up failed: {problem}", file=sys.stderr)
        return 2
    samples = [str(ROOT / "sample_sets" / name) for name in SAMPLES]
    # -P: a folder called `app` where the user stands must not be taken for ours.
    return bootstrap.run_python(python, ["-P", "-m", "app", *(arguments or samples)])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
