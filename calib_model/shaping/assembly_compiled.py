# mypy: disable-error-code="no-untyped-def,no-untyped-call"
"""The compiled pass over the samples; see `calib_model.shaping.assembly`.

Import late: with it comes numba.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..lookup import compiled
from .assembly import empty, two_axes

if TYPE_CHECKING:
    from .assembly import Moments
    from .samples import Samples

COMPILED_CHUNK = 65_536
_NONE = np.zeros(1)


def moments(
    axes: Sequence[Axis],
    samples: Samples,
    node_values: FloatArray | None,
    loss: int,
    cutoff: float,
    centre: float,
) -> Moments | None:
    """Sum up the samples; None where numba does not work here."""
    if not compiled.load():
        return None
    from . import assembly_kernels as kernels

    result = empty(axes)
    x, y = two_axes(axes)
    (xs, x_buckets, x_scale, _), (ys, y_buckets, y_scale, _) = map(compiled._prepared, (x, y))
    sums = np.zeros(result.weight.shape[0] * 13)
    totals = np.zeros(3)
    nodes = np.ascontiguousarray(node_values) if node_values is not None else _NONE
    for _, points, values in samples.chunks(COMPILED_CHUNK):
        first = np.ascontiguousarray(points[0], dtype=np.float64)
        second = np.ascontiguousarray(points[1], dtype=np.float64) if len(points) > 1 else _NONE
        kernels.add(
            xs, x_buckets, x_scale, ys, y_buckets, y_scale,
            first, second, np.ascontiguousarray(values, dtype=np.float64),
            nodes, loss if node_values is not None else 0, cutoff, centre,
            sums, result.nearest, totals,
        )  # fmt: skip
    table = sums.reshape(-1, 13)
    result.weight[:], result.value[:] = table[:, :9], table[:, 9:]
    result.count, result.total, result.square = int(totals[0]), float(totals[1]), float(totals[2])
    return result
