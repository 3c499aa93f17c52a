"""The same source without numba: the same bits, since there is one law."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.controller.law import run, settled
from calib_model.lookup import compiled
from tests.controller.law_parts import ROOT, drive, sample

CODE = """
import sys
sys.modules["numba"] = None  # as if it were not installed
import numpy as np
from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.controller.law import run, settled
from calib_model.lookup import portable
from tests.controller.law_parts import drive, sample
assert not portable.COMPILED
bound = bind(sample("larch_normal"), LARCH)
parts = [run(bound, drive(seed, 250)).outputs for seed in range(4)]
parts.append(settled(bound, drive(9, 100)).outputs)
np.save(sys.argv[1], np.vstack(parts))
"""


@pytest.mark.skipif(not compiled.available(), reason="numba is not installed")
def test_compiled_and_plain_agree_in_the_last_bit(tmp_path: Path) -> None:
    place = tmp_path / "plain.npy"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", CODE, str(place)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    plain = np.load(place)
    bound = bind(sample("larch_normal"), LARCH)
    parts = [run(bound, drive(seed, 250)).outputs for seed in range(4)]
    parts.append(settled(bound, drive(9, 100)).outputs)
    fast = np.vstack(parts)
    assert np.isfinite(fast[:, :10]).all()
    np.testing.assert_array_equal(plain.view(np.int64), fast.view(np.int64))


def test_names_and_binding_do_not_load_numba() -> None:
    code = (
        "import sys; from calib_model.controller import law, binding, derived, constants; "
        "from calib_model.core.calibration_set import CalibrationSet; "
        "binding.bind(CalibrationSet([]), constants.LARCH); "
        "sys.exit('numba' in sys.modules or 'scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
