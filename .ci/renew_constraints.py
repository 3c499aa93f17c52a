"""Pin what was just tested: `python3 tests/run.py --newest`, then this, by `.venv/bin/python`.

Writes `constraints.txt` beside this file from the environment: what the project needs on any of
its systems, in the version installed here; what other systems alone need, in the newest version
that suits. See DEVELOPERS.md.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from pins import FILE, ROOT, asked_for, machines, needed

HEAD = """\
# The versions that the tests are known to pass with, all of them; ranges stand in pyproject.toml.
# To renew: `python3 tests/run.py --newest`; if all is well, `.venv/bin/python
# .ci/renew_constraints.py`, then `.venv/bin/python .ci/wheels.py`.
"""


def installed() -> dict[str, metadata.Distribution]:
    """Return what this environment holds, by canonical name."""
    return {canonicalize_name(one.metadata["Name"]): one for one in metadata.distributions()}


def offered(asked: list[Requirement]) -> dict[str, object]:
    """Return the metadata of the newest version that suits, as pip finds it."""
    one = f"{asked[0].name}{','.join(str(a.specifier) for a in asked if a.specifier)}"
    ran = subprocess.run(
        [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet",
         "--no-deps", "--report=-", one],
        stdout=subprocess.PIPE, text=True, check=True,
    )  # fmt: skip
    found: dict[str, object] = json.loads(ran.stdout)["install"][0]["metadata"]
    return found


def lines(here: Mapping[str, metadata.Distribution]) -> list[str]:
    """Return a line NAME==VERSION for all that is needed on some system."""
    pins = {name: (one.metadata["Name"], one.version) for name, one in here.items()}
    requires = {name: one.requires or [] for name, one in here.items()}
    wanted: set[str] = set()
    for machine in machines():
        # Again whenever something came to light that only this machine needs.
        while True:
            found = needed(asked_for(), machine, requires.get)
            new = sorted(set(found) - set(pins))
            if not new:
                break
            for name in new:
                about = offered(found[name])
                pins[name] = (str(about["name"]), str(about["version"]))
                needs = about.get("requires_dist", [])
                requires[name] = [str(n) for n in needs] if isinstance(needs, list) else []
        wanted |= set(found)
    return sorted(("==".join(pins[name]) for name in wanted), key=str.casefold)


def main() -> int:
    """Write the file; returns an exit status."""
    sys.path.insert(0, str(ROOT))
    from app.bootstrap import STAMP  # noqa: PLC0415  # found only now

    try:
        stamp = json.loads((Path(sys.prefix) / STAMP).read_text("utf-8"))
    except (OSError, ValueError):
        stamp = {}
    if stamp.get("newest") is not True or "test" not in stamp.get("extras", []):
        print("This environment does not hold the newest libraries. First run\n"
              "    python3 tests/run.py --newest\nand start this again with its Python, "
              ".venv/bin/python.", file=sys.stderr)  # fmt: skip
        return 2
    text = HEAD + "".join(f"{line}\n" for line in lines(installed()))
    FILE.write_text(text, "utf-8")
    print(f"{FILE} holds {text.count('==')} versions. Now run .ci/wheels.py and bash .ci/run.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
