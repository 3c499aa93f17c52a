"""How much a recording may unpack to: told before it is unpacked, and counted while it is."""

from __future__ import annotations

MAX_BYTES = 4 << 30
"""All samples together, whatever the file..."""
MIN_BYTES = 384 << 20
EXPANSION = 20
"""...and no more than `MIN_BYTES` (two hours at 100 Hz with 60 channels) and so many times its
size: a small file that unpacks to gigabytes is no recording."""
MAX_SAMPLES = 8_000_000
"""Of one channel: over two hours at 1 kHz."""
REMEDY = "Cut the recording in parts, or export fewer channels."


def most_bytes(size: int) -> int:
    """Return how many bytes the samples of a file of some size may take together."""
    return min(MAX_BYTES, MIN_BYTES + EXPANSION * size)


def too_much(size: int, unpacked: int, longest: int) -> str:
    """Say in a sentence why a recording is too large; empty if it is not.

    Parameters
    ----------
    size : int
        Bytes of the file.
    unpacked : int
        Bytes of all samples.
    longest : int
        Samples of the longest channel.
    """
    if longest > MAX_SAMPLES:
        return f"A channel has {longest} samples; at most {MAX_SAMPLES} are read."
    most = most_bytes(size)
    if unpacked > most:
        return f"It unpacks to more than {most >> 20} MiB, the most for a file of its size."
    return ""
