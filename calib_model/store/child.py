"""The reading process: takes paths on standard input, answers with columns.

Started by `calib_model.store.launch`.  A file that crashes, hangs or bloats the HDF5 library
takes down this process and nothing else.

On Linux each file is read in a copy (fork) of this process, which has its libraries loaded but
has never touched a file: no file can spoil what is said of the next, the limits count for each
anew, and the process may be kept for more files.  A copy that ends otherwise than by a whole
answer takes this process with it, the same way.
"""

from __future__ import annotations

import base64
import contextlib
import math
import os
import signal
import sys
from pathlib import Path
from typing import Any, BinaryIO

from .message import BrokenMessage, error_of, pack_header, read_header, write_all

MEMORY_BYTES = 1 << 30
CPU_SECONDS = 120
"""Of the whole process, however many files it reads."""
COPIES = sys.platform == "linux"
FILE_SECONDS = 5
"""Of one file: the largest that the bounds let through takes one."""


def limit_resources(
    address_bytes: int = MEMORY_BYTES, file_bytes: int = 0, seconds: int = CPU_SECONDS
) -> None:
    """Take from this process what reading does not need, where the system can.

    Parameters
    ----------
    address_bytes : int
        Of address space: more than `MEMORY_BYTES` for libraries that map files or reserve space
        which they never fill.  What it may allocate stays `MEMORY_BYTES`.
    file_bytes : int
        That it may write to any one file.
    seconds : int
        Of work; 0 for no limit.
    """
    try:
        import resource
    except ImportError:  # Windows: the bounds of the guard and the time limit remain
        return
    for name, value in (
        ("RLIMIT_AS", address_bytes),
        ("RLIMIT_DATA", MEMORY_BYTES),
        ("RLIMIT_CPU", seconds),
        ("RLIMIT_FSIZE", file_bytes),  # none: it can write to no file
        ("RLIMIT_CORE", 0),
    ):
        number = getattr(resource, name, None)
        if number is None or (name == "RLIMIT_CPU" and not seconds):
            continue
        try:
            _, hard = resource.getrlimit(number)
            top = value if hard == resource.RLIM_INFINITY else min(value, hard)
            resource.setrlimit(number, (top, top))
        except (OSError, ValueError):  # some systems know the name but not the limit
            continue


def allow_seconds(seconds: float) -> None:
    """Have this process ended (SIGXCPU) after so many more seconds of work, where the system can.

    What loops for ever in a library can be stopped in no other way.
    """
    try:
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        wanted = math.ceil(used.ru_utime + used.ru_stime + seconds)
        top = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(resource.RLIMIT_CPU, (top, hard))
    except (ImportError, OSError, ValueError):  # Windows: the time limit of the parent remains
        return


def main() -> None:
    """Answer requests until standard input ends."""
    limit_resources()
    if COPIES:
        with contextlib.suppress(Exception):  # whoever asks is told why by the first answer
            load_libraries()
    source = os.fdopen(os.dup(0), "rb", buffering=0)
    target = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # nothing that a library prints may get between the columns
    while True:
        try:
            request = read_header(source.read)
        except BrokenMessage:
            return
        if request is None:
            return
        try:
            if not answered_by_a_copy(request, target):
                allow_seconds(FILE_SECONDS)
                answer(request, target)
        except BrokenPipeError:
            return


def answered_by_a_copy(request: dict[str, Any], target: BinaryIO) -> bool:
    """Have a copy of this process answer; False if there is none.

    If the copy ends badly, so does this process, in the same way: whoever waits for the answer
    sees it end, and how.
    """
    if not COPIES:
        return False
    try:
        copy = os.fork()
    except OSError:  # no process more: then this one, as on other systems
        return False
    if not copy:
        status = 1
        try:
            forbid_processes()
            allow_seconds(FILE_SECONDS)
            answer(request, target)
            status = 0
        finally:
            os._exit(status)
    _, ended = os.waitpid(copy, 0)
    if os.WIFSIGNALED(ended):
        with contextlib.suppress(OSError):  # SIGKILL has no handler to take away
            signal.signal(os.WTERMSIG(ended), signal.SIG_DFL)
        os.kill(os.getpid(), os.WTERMSIG(ended))
    if ended:
        os._exit(1)
    return True


def forbid_processes() -> None:
    """Let this process start no other, which could outlive it and answer in its place."""
    import resource

    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_NPROC, (0, 0))


def load_libraries() -> None:
    """Import what reading needs, so that no copy has to."""
    from . import hdf5  # noqa: F401


def answer(request: dict[str, Any], target: BinaryIO) -> None:
    """Answer one request with columns or an error."""
    try:
        header, buffers = _columns_of(Path(os.fsdecode(base64.b64decode(request["path"]))))
    except MemoryError:
        header, buffers = error_of("damaged", "file", "It needs more memory than a set may."), []
    except Exception as error:
        header, buffers = error_of("internal", "", f"{type(error).__name__}: {error}"), []
    write_all(target, pack_header(header))
    for buffer in buffers:
        write_all(target, buffer)


def _columns_of(path: Path) -> tuple[dict[str, Any], list[Any]]:
    from .source import Unreadable, read_bytes

    try:
        data, stamp = read_bytes(path)
    except Unreadable as problem:
        return error_of("unreadable", "", problem.problem, problem.remedy), []
    from .hdf5 import Newer, read_image
    from .structure import Misfit
    from .texts import bytes_of

    try:
        neutral, sha = read_image(data)
    except Newer as newer:
        return error_of("newer", "attribute min_reader_version", str(newer)), []
    except Misfit as misfit:
        return error_of("damaged", misfit.place, f"It {misfit.problem}"), []
    listed = [[name, a.dtype.str, list(a.shape)] for name, a in neutral.columns.items()]
    header = {
        "columns": listed,
        "attributes": neutral.attributes,
        "sha": sha,
        "stamp": list(stamp),
    }
    return header, [bytes_of(a) for a in neutral.columns.values()]


if __name__ == "__main__":
    main()
