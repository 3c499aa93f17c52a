# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""The compiled loop of the assembly: locate, weigh, add."""

from __future__ import annotations

from ..lookup.jit import floats, inner, jit, nothing, number, output, small_ints, whole


@inner()
def _find(v, breakpoints, buckets, scale):
    """Cell and fraction of a point inside an axis; ends included."""
    last = breakpoints.size - 1
    if last == 0:
        return 0, 0.0
    if v >= breakpoints[last]:
        return last - 1, 1.0
    if v <= breakpoints[0]:
        return 0, 0.0
    low = min(int(buckets[int((v - breakpoints[0]) * scale)]), last - 1)
    while breakpoints[low] > v:
        low -= 1
    while breakpoints[low + 1] <= v:
        low += 1
    return low, (v - breakpoints[low]) / (breakpoints[low + 1] - breakpoints[low])


@jit(
    floats, small_ints, number, floats, small_ints, number,
    floats, floats, floats,
    floats, whole, number, number,
    output, output, output,
    returns=nothing,
)  # fmt: skip
def add(
    xs, x_buckets, x_scale, ys, y_buckets, y_scale,
    first, second, values,
    nodes, loss, cutoff, centre,
    sums, nearest, totals,
):  # fmt: skip
    """Add samples to the sums: thirteen per cell."""
    width = ys.size
    columns = max(width - 1, 1)
    dx = width if xs.size > 1 else 0
    dy = 1 if width > 1 else 0
    total, square = 0.0, 0.0
    for p in range(values.size):
        i, t = _find(first[p], xs, x_buckets, x_scale)
        j, u = 0, 0.0
        if width > 1:
            j, u = _find(second[p], ys, y_buckets, y_scale)
        z = values[p] - centre
        w = 1.0
        node = i * width + j
        if loss > 0:
            low = nodes[node] + u * (nodes[node + dy] - nodes[node])
            high = nodes[node + dx] + u * (nodes[node + dx + dy] - nodes[node + dx])
            rest = abs(z - (low + t * (high - low) - centre))
            if loss == 1:
                w = cutoff / max(rest, cutoff)
            else:
                inside = max(0.0, 1.0 - (rest / cutoff) * (rest / cutoff))
                w = inside * inside
        at = (i * columns + j) * 13
        wz = w * z
        wt, wu = w * t, w * u
        wtu = wt * u
        sums[at] += w
        sums[at + 1] += wu
        sums[at + 2] += wu * u
        sums[at + 3] += wt
        sums[at + 4] += wtu
        sums[at + 5] += wtu * u
        sums[at + 6] += wt * t
        sums[at + 7] += wtu * t
        sums[at + 8] += wtu * t * u
        sums[at + 9] += wz
        sums[at + 10] += wz * u
        sums[at + 11] += wz * t
        sums[at + 12] += wz * t * u
        nearest[node + (dx if t >= 0.5 else 0) + (dy if u >= 0.5 else 0)] += 1.0
        total += w
        square += wz * z
    totals[0] += values.size
    totals[1] += total
    totals[2] += square
