"""The small picture of each kind of rule, as data: see `calib_model.core.rule_settings`."""

from __future__ import annotations

from ..core.rule_settings import Dot, Picture, PictureLine, PicturePart, PicturePatch, Points

BAD, OTHER, LIMIT = PicturePart.BROKEN, PicturePart.OTHER, PicturePart.LIMIT


def _box(left: float, low: float, right: float, high: float) -> Points:
    return ((left, low), (right, low), (right, high), (left, high))


RISES = Picture(
    (
        PictureLine(((0.05, 0.1), (0.3, 0.3), (0.5, 0.5), (0.7, 0.65), (0.95, 0.9))),
        PictureLine(((0.3, 0.3), (0.5, 0.15), (0.7, 0.65)), BAD),
        Dot((0.5, 0.15)),
    ),
    "a line that rises; one point of it fallen below its neighbour is named",
)
SLOPE = Picture(
    (
        PictureLine(((0.05, 0.15), (0.4, 0.3), (0.6, 0.8), (0.95, 0.9))),
        PictureLine(((0.4, 0.3), (0.6, 0.8)), BAD),
        PictureLine(((0.4, 0.3), (0.75, 0.6)), LIMIT),
    ),
    "a line with one stretch steeper than the limit beside it",
)
CURVED = Picture(
    (
        PictureLine(((0.05, 0.2), (0.35, 0.25), (0.65, 0.45), (0.95, 0.9))),
        PictureLine(((0.05, 0.2), (0.35, 0.55), (0.65, 0.45)), BAD),
        Dot((0.35, 0.55)),
    ),
    "a line that bends one way only; a point above the straight line of its neighbours is named",
)
KINK = Picture(
    (
        PictureLine(((0.05, 0.2), (0.5, 0.35), (0.95, 0.9))),
        PictureLine(((0.5, 0.35), (0.95, 0.5)), LIMIT),
        Dot((0.5, 0.35)),
    ),
    "a line that bends more at one point than the limit beside it",
)
FIXED = Picture(
    (
        PicturePatch(_box(0.05, 0.4, 0.4, 0.6)),
        PictureLine(((0.05, 0.5), (0.4, 0.5), (0.7, 0.75), (0.95, 0.85))),
        Dot((0.25, 0.8)),
    ),
    "a stretch in which every value is one value; a point beside it is named",
)
ZERO_END = Picture(
    (
        PictureLine(((0.05, 0.85), (0.45, 0.6), (0.8, 0.1))),
        PictureLine(((0.8, 0.1), (0.98, 0.1)), LIMIT),
        PictureLine(((0.45, 0.6), (0.8, 0.3), (0.98, 0.3)), BAD),
        Dot((0.8, 0.3)),
    ),
    "a line that ends at zero; one that ends above zero is held there and named",
)
AT_POINT = Picture(
    (
        PictureLine(((0.05, 0.2), (0.5, 0.55), (0.95, 0.8))),
        PictureLine(((0.5, 0.05), (0.5, 0.55), (0.05, 0.55)), LIMIT),
        Dot((0.5, 0.55), PicturePart.HELD),
    ),
    "a line through a given point",
)
MIRROR = Picture(
    (
        PictureLine(((0.5, 0.05), (0.5, 0.95)), LIMIT),
        PictureLine(((0.05, 0.8), (0.3, 0.35), (0.5, 0.2), (0.7, 0.35), (0.95, 0.8))),
        Dot((0.7, 0.6)),
    ),
    "a line alike on both sides of a middle; a point unlike its mirror image is named",
)
PRODUCT = Picture(
    (
        PictureLine(((0.05, 0.9), (0.3, 0.75), (0.6, 0.6), (0.95, 0.5)), OTHER),
        PictureLine(((0.05, 0.05), (0.3, 0.3), (0.6, 0.55), (0.95, 0.8))),
        PictureLine(((0.6, 0.55), (0.95, 0.4)), BAD),
    ),
    "a falling gain whose product with the axis still rises",
)
BETWEEN = Picture(
    (
        PictureLine(((0.05, 0.85), (0.95, 0.85)), LIMIT),
        PictureLine(((0.05, 0.15), (0.95, 0.15)), LIMIT),
        PictureLine(((0.05, 0.3), (0.35, 0.6), (0.6, 0.95), (0.95, 0.7))),
        Dot((0.6, 0.95)),
    ),
    "a line between two limits; the point beyond one of them is named",
)
LOCKED = Picture(
    (
        PictureLine(((0.05, 0.2), (0.35, 0.4), (0.65, 0.6), (0.95, 0.8))),
        PicturePatch(_box(0.3, 0.3, 0.4, 0.5)),
        Dot((0.35, 0.4), PicturePart.HELD),
    ),
    "a point that keeps its value",
)
FULL = Picture(
    (
        PictureLine(((0.05, 0.2), (0.35, 0.4))),
        PictureLine(((0.65, 0.6), (0.95, 0.8))),
        Dot((0.5, 0.5)),
    ),
    "a line with a point missing",
)
ORDER = Picture(
    (
        PictureLine(((0.05, 0.2), (0.95, 0.2)), OTHER),
        Dot((0.2, 0.2), PicturePart.HELD),
        Dot((0.45, 0.2), PicturePart.HELD),
        Dot((0.4, 0.45)),
        Dot((0.8, 0.2), PicturePart.HELD),
    ),
    "breakpoints along a line; one that lies before the one before it is named",
)
COVERS = Picture(
    (
        PicturePatch(_box(0.05, 0.05, 0.3, 0.95), BAD),
        PictureLine(((0.3, 0.3), (0.6, 0.5), (0.95, 0.8))),
        PictureLine(((0.05, 0.3), (0.3, 0.3)), BAD),
    ),
    "a line that begins too late; before it the first value is held",
)
RASTER = Picture(
    (
        *(PictureLine(((0.05, y), (0.95, y)), LIMIT) for y in (0.2, 0.4, 0.6, 0.8)),
        Dot((0.3, 0.4), PicturePart.HELD),
        Dot((0.5, 0.6), PicturePart.HELD),
        Dot((0.7, 0.7)),
    ),
    "points on evenly spaced lines; one between two lines is named",
)
FLATTENED = Picture(
    (
        PictureLine(((0.05, 0.25), (0.95, 0.45)), OTHER),
        PictureLine(((0.05, 0.3), (0.65, 0.3)), BAD),
        PictureLine(((0.65, 0.3), (0.65, 0.5), (0.95, 0.5))),
    ),
    "a small slope that steps of storage turn into a level",
)
OUTLIER = Picture(
    (
        PictureLine(((0.05, 0.7), (0.3, 0.75), (0.5, 0.1), (0.7, 0.85), (0.95, 0.9))),
        Dot((0.5, 0.1)),
    ),
    "a line with one value ten times too small",
)
LOOP = Picture(
    (
        PictureLine(((0.05, 0.4), (0.5, 0.65), (0.95, 0.9)), OTHER),
        PictureLine(((0.05, 0.15), (0.5, 0.35), (0.95, 0.6))),
        PictureLine(((0.5, 0.35), (0.75, 0.85), (0.95, 0.6)), BAD),
    ),
    "two branches of a loop; where the lower one lies above the upper one is named",
)
BESIDE = Picture(
    (
        PictureLine(((0.05, 0.3), (0.5, 0.5), (0.95, 0.6)), OTHER),
        PictureLine(((0.05, 0.5), (0.5, 0.7), (0.95, 0.9))),
        PictureLine(((0.05, 0.5), (0.5, 0.35), (0.95, 0.9)), BAD),
        Dot((0.5, 0.35)),
    ),
    "a line on one side of another table's; the point on the wrong side is named",
)
APART = Picture(
    (
        PictureLine(((0.05, 0.8), (0.95, 0.6)), OTHER),
        PictureLine(((0.05, 0.5), (0.5, 0.4), (0.95, 0.3))),
        PictureLine(((0.5, 0.4), (0.5, 0.7)), LIMIT),
    ),
    "two lines with a distance between them",
)
RATE = Picture(
    (
        PictureLine(((0.05, 0.15), (0.45, 0.2), (0.55, 0.85), (0.95, 0.9))),
        PictureLine(((0.45, 0.2), (0.55, 0.85)), BAD),
        PictureLine(((0.45, 0.2), (0.8, 0.85)), LIMIT),
    ),
    "a cliff that the controller cannot follow when the input moves as fast as it can",
)
BAND = Picture(
    (
        PicturePatch(_box(0.35, 0.05, 0.65, 0.95)),
        PictureLine(((0.05, 0.15), (0.35, 0.5), (0.65, 0.5), (0.95, 0.85))),
        Dot((0.58, 0.7)),
    ),
    "a line that is zero within a band around the middle",
)
ALONG = Picture(
    (
        PictureLine(((0.05, 0.5), (0.95, 0.5))),
        PictureLine(((0.35, 0.5), (0.5, 0.75), (0.65, 0.5)), BAD),
        Dot((0.5, 0.75)),
    ),
    "a level line; the point off the level is named",
)
