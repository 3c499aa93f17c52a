"""Opening a recording of an hour at 100 Hz with 60 channels: seconds, and memory of both processes.

The goals are 3 s and 1 GiB on a machine that does nothing else; of three runs the best counts.
Each reading happens in a fresh Python, as from the command line; its own start is not counted,
that of the reading process is.
Unless times were asked for, a few seconds of a recording stand in for the hour.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.evidence_reading.making_recordings import write_mdf4

ROOT = Path(__file__).resolve().parents[2]
CHANNELS = 60

READ = """
import json, resource, sys, time
import calib_model.evidence.reading.assembly
from calib_model.evidence.reading import read_recording
if len(sys.argv) > 2:
    sys.path.insert(0, sys.argv[2])
start = time.perf_counter()
recording = read_recording(sys.argv[1])
took = time.perf_counter() - start
own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if sys.platform == "linux":  # there it counts what this process was before it became Python
    status = open("/proc/self/status").read()
    own = int(status.split("VmHWM:")[1].split()[0])
child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
count = sum(c.values.size for c in recording.channels.values())
total = sum(float(c.values.sum()) for c in recording.channels.values())
print(json.dumps([took, (own + child) / 1024, count, total, len(recording.faults)]))
"""

PLAIN = {
    "csv": "import pyarrow.csv as pc; t = pc.read_csv(path); [c.to_numpy() for c in t.columns]",
    "parquet": "import pyarrow.parquet as p; [c.to_numpy() for c in p.read_table(path).columns]",
    "mdf4": "from asammdf import MDF; MDF(path).select([(None, 0, n) for n in range(1, 61)])",
    "hdf5": "import h5py; h5py.File(path)['values_4'][...].astype(float)",
}
"""The same file by its library alone, into memory, without checks or a process of its own."""


def plain_seconds(kind: str, path: Path) -> float:
    """Seconds of the library's own pass, its import included: ours pays for that too."""
    code = (
        "import sys, time; path = sys.argv[1]; start = time.perf_counter()\n"
        f"{PLAIN[kind]}\nprint(time.perf_counter() - start)"
    )
    return min(
        float(subprocess.check_output([sys.executable, "-c", code, str(path)])) for _ in range(3)
    )


def best_reading(path: Path, rounds: int, *more: str) -> tuple[float, float, int, float, int]:
    """Seconds, MiB of both processes, samples, their sum, faults; each in a fresh Python."""
    rows = []
    for _ in range(rounds):
        done = subprocess.run(
            [sys.executable, "-c", READ, str(path), *more], cwd=ROOT, stdout=subprocess.PIPE,
            check=True,
        )  # fmt: skip
        rows.append(json.loads(done.stdout))
    seconds, mebibytes = min(r[0] for r in rows), max(r[1] for r in rows)
    return seconds, mebibytes, *rows[0][2:]


@pytest.fixture(scope="module")
def hour(timed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Time stamps and a channel per row, rounded as sensors do."""
    rng = np.random.default_rng(1)
    n = 360_000 if timed else 4_000
    values = np.cumsum(rng.normal(0, 0.05, (CHANNELS, n)), axis=1)
    return np.round(np.arange(n) * 0.01, 2), np.round(values, 2)


def as_csv(folder: Path, time: np.ndarray, values: np.ndarray) -> Path:
    import pyarrow as pa
    import pyarrow.csv as pc

    names = ["time [s]", *(f"c{n} [km/h]" for n in range(CHANNELS))]
    table = pa.table(dict(zip(names, [time, *values], strict=True)))
    path = folder / "run.csv"
    pc.write_csv(table, path, pc.WriteOptions(quoting_style="none"))
    path.write_bytes(path.read_bytes().replace(b'"', b""))
    return path


def as_parquet(folder: Path, time: np.ndarray, values: np.ndarray) -> Path:
    import pyarrow as pa
    import pyarrow.parquet as pq

    names = ["time_s", *(f"c{n}" for n in range(CHANNELS))]
    path = folder / "run.parquet"
    table = pa.table(dict(zip(names, [time, *values], strict=True)))
    pq.write_table(table, path, write_page_checksum=True)
    return path


def as_mdf4(folder: Path, time: np.ndarray, values: np.ndarray) -> Path:
    channels = {f"c{n}": ("km/h", v) for n, v in enumerate(values)}
    return write_mdf4(folder / "run.mf4", [(time, channels)])


def as_hdf5(folder: Path, time: np.ndarray, values: np.ndarray) -> Path:
    from calib_model.evidence.reading.hdf5 import recording_image
    from calib_model.evidence.recording import Channel, Recording

    good = np.ones(time.size, dtype=bool)
    channels = {f"c{n}": Channel(f"c{n}", "km/h", time, v, good) for n, v in enumerate(values)}
    path = folder / "run.h5"
    path.write_bytes(recording_image(Recording("r", "", channels), single=True))
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="it does not tell the memory of a process")
@pytest.mark.parametrize("write", [as_csv, as_parquet, as_mdf4, as_hdf5])
def test_open_an_hour(
    write: Callable[[Path, np.ndarray, np.ndarray], Path],
    hour: tuple[np.ndarray, np.ndarray],
    tmp_path: Path,
    record_testsuite_property: Callable[[str, object], None],
    timed: bool,
) -> None:
    time, values = hour
    path = write(tmp_path, time, values)
    seconds, mebibytes, count, total, faults = best_reading(path, 3 if timed else 1)
    assert count == values.size
    assert faults == 0
    assert total == pytest.approx(values.sum(), rel=1e-5)
    size = path.stat().st_size >> 20
    kind = write.__name__.removeprefix("as_")
    record_testsuite_property(f"open {kind} of {size} MiB: seconds", round(seconds, 2))
    record_testsuite_property(f"open {kind}: MiB of both processes", round(mebibytes))
    assert mebibytes < 1024
    if timed:
        plain = plain_seconds(kind, path)
        record_testsuite_property(
            f"open {kind}: times its library alone", round(seconds / plain, 1)
        )
        # On a busy machine the plain pass, which is slowed down alike, stands in for the time.
        assert seconds < max(3.0, 3 * plain)


def test_open_an_hour_of_csv_without_pyarrow(
    hour: tuple[np.ndarray, np.ndarray],
    tmp_path: Path,
    record_testsuite_property: Callable[[str, object], None],
    timed: bool,
) -> None:
    time, values = hour
    path = as_csv(tmp_path, time, values)
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "pyarrow.py").write_text("raise ImportError('hidden')\n")
    seconds, _, count, _, faults = best_reading(path, 3 if timed else 1, str(hidden))
    assert (count, faults) == (values.size, 0)
    record_testsuite_property("open csv by numpy alone: seconds", round(seconds, 2))
