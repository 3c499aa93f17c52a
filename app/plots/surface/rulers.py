"""The axes around a surface: the box's back walls, ticks, numbers and titles.

Plain numpy: how much room a text takes is asked of a function, so that the layout can be
checked without a screen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.plots.surface.camera import Lens
from app.plots.surface.scene import HALF, Frame
from calib_model.core.arrays import FloatArray
from calib_model.core.labels import NO_LABELS, Labels
from calib_model.core.numbers import short

TICK = 5.0
GAP = 3.0
BESIDE = 3.0
"""Room between two numbers beside each other."""
END_ON = 0.985
"""An axis that points at the eye more than this (a cosine) carries no numbers."""
Room = tuple[float, float, float, float]
"""Left, top, right, bottom."""
Measure = Callable[[str], tuple[float, float]]
"""Width and height of a text in screen units."""


@dataclass(frozen=True)
class Ruler:
    """What one axis says.

    Parameters
    ----------
    places : float array, shape (n,)
        Where its ticks are, in the box.
    texts : sequence of str
        One for each tick.
    title : str
        Name and unit.
    """

    places: FloatArray
    texts: Sequence[str]
    title: str


@dataclass(frozen=True)
class Text:
    """A text on the screen.

    Parameters
    ----------
    text : str
    x, y : float
        Its middle.
    angle : float
        Clockwise, in degrees.
    width, height : float
        Room it takes, before it is turned.
    title : bool
        Whether it is an axis's title.
    """

    text: str
    x: float
    y: float
    angle: float
    width: float
    height: float
    title: bool = False

    def bounds(self) -> Room:
        """Return left, top, right and bottom of the room it takes."""
        if not self.angle:
            wide, tall = self.width / 2, self.height / 2
            return self.x - wide, self.y - tall, self.x + wide, self.y + tall
        c, s = abs(math.cos(math.radians(self.angle))), abs(math.sin(math.radians(self.angle)))
        wide = (self.width * c + self.height * s) / 2
        tall = (self.width * s + self.height * c) / 2
        return self.x - wide, self.y - tall, self.x + wide, self.y + tall


@dataclass(frozen=True, eq=False)
class Layout:
    """Ticks and texts on the screen.

    Parameters
    ----------
    ticks : float array, shape (k, 2, 2)
        Strokes: two ends, right and down.
    texts : list of Text
    """

    ticks: FloatArray
    texts: list[Text]


def round_ticks(low: float, high: float, most: int) -> FloatArray:
    """Return round numbers from `low` to `high`: steps of 1, 2 or 5, at most `most` of them."""
    span = high - low
    if not (span > 0 and math.isfinite(span)):
        return np.array([low])
    rough = span / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return np.array([round(i * step, 12) + 0.0 for i in range(first, last + 1)])


def back(lens: Lens) -> tuple[float, float]:
    """Return on which side the back walls stand: x and y of the far corner, -1 or 1 each."""
    toward = lens.camera.direction
    # Seen straight along an axis either wall would do: the left or the far one is taken.
    across = -math.copysign(1.0, toward[0]) if abs(toward[0]) > 1e-6 else 1.0
    along = -math.copysign(1.0, toward[1]) if abs(toward[1]) > 1e-6 else 1.0
    return across, along


def walls(
    sides: tuple[float, float], frame: Frame, columns: FloatArray, rows: FloatArray
) -> FloatArray:
    """Return the lines of the floor and of the back walls.

    Parameters
    ----------
    sides : tuple of two floats
        See `back`.
    frame : Frame
    columns, rows : float arrays
        Where the lines of the floor run, in the box.

    Returns
    -------
    float array, shape (k, 2, 3)
    """
    a, b, c = HALF
    bx, by = sides[0] * a, sides[1] * b
    levels = frame.z(round_ticks(*frame.values, 6))
    lines: list[list[tuple[float, float, float]]] = []
    lines += [[(x, -b, -c), (x, b, -c)] for x in columns]
    lines += [[(-a, y, -c), (a, y, -c)] for y in rows]
    for z in (-c, *levels, c):
        lines += [[(bx, -b, z), (bx, b, z)], [(-a, by, z), (a, by, z)]]
    lines += [[(-a, -by, -c), (a, -by, -c)], [(-bx, -b, -c), (-bx, b, -c)]]
    lines += [[(x, y, -c), (x, y, c)] for x, y in ((bx, by), (-bx, by), (bx, -by))]
    return np.array(lines)


def edges_of(lens: Lens) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the edges that carry the numbers of columns, rows and values.

    Returns
    -------
    three float arrays, shape (2, 3)
        Ends of the edge, low numbers first.
    """
    a, b, c = HALF
    bx, by = back(lens)
    columns = np.array([[-a, -by * b, -c], [a, -by * b, -c]])
    rows = np.array([[-bx * a, b, -c], [-bx * a, -b, -c]])
    # The outermost upright edge: nothing of the box is to the left of it.
    corners = np.array([[x, y, -c] for x in (-a, a) for y in (-b, b)])
    left = corners[int(np.argmin(lens.project(corners)[:, 0]))]
    return columns, rows, np.array([left, [left[0], left[1], c]])


def layout(lens: Lens, rulers: tuple[Ruler, Ruler, Ruler], measure: Measure) -> Layout:
    """Place ticks, numbers and titles so that none lies on another or leaves the picture.

    Parameters
    ----------
    lens : Lens
    rulers : tuple of three Rulers
        Columns, rows, values.
    measure : callable
    """
    ticks: list[FloatArray] = []
    texts: list[Text] = []
    middle = lens.project(np.zeros(3))[:2]
    for number, (edge, ruler) in enumerate(zip(edges_of(lens), rulers, strict=True)):
        if abs(lens.camera.direction[number]) > END_ON:  # in perspective it may still look long
            continue
        ends = lens.project(edge)[:, :2]
        run = ends[1] - ends[0]
        length = float(np.hypot(*run))
        if length < 24.0:  # seen nearly end on: nothing could be read
            continue
        away = np.array([-run[1], run[0]]) / length
        if away @ (ends.mean(axis=0) - middle) < 0:
            away = -away
        numbers = _numbers(lens, edge, number, ruler, away, measure, ticks, texts)
        texts += numbers
        texts += _title(lens, ends, ruler, away, measure, numbers)
    strokes = np.array(ticks) if ticks else np.zeros((0, 2, 2))
    return Layout(strokes, texts)


def margins(
    rulers: tuple[Ruler, Ruler, Ruler], measure: Measure
) -> tuple[float, float, float, float]:
    """Return the room that numbers and titles need around the box: left, top, right, bottom."""
    sizes = [measure(t) for ruler in rulers for t in ruler.texts] or [(0.0, 0.0)]
    wide, tall = max(s[0] for s in sizes), max(s[1] for s in sizes)
    side = TICK + GAP * 2 + wide + tall + 2
    return side, tall * 0.8, side, TICK + GAP * 2 + tall * 2 + 4


def _numbers(
    lens: Lens,
    edge: FloatArray,
    axis: int,
    ruler: Ruler,
    away: FloatArray,
    measure: Measure,
    ticks: list[FloatArray],
    others: list[Text],
) -> list[Text]:
    points = np.repeat(edge[:1], len(ruler.places), axis=0)
    points[:, axis] = ruler.places
    seen = lens.project(points)[:, :2]
    ticks.extend(np.stack([at, at + away * TICK]) for at in seen)
    placed: list[Text] = []
    taken = [other.bounds() for other in others]
    count = len(ruler.texts)
    # The ends matter most; then what fits between them, from the low end on.
    order = [0, count - 1, *range(1, count - 1)] if count > 1 else list(range(count))
    for i in order:
        wide, tall = measure(ruler.texts[i])
        out = TICK + GAP + (abs(away[0]) * wide + abs(away[1]) * tall) / 2
        x, y = seen[i] + away * out
        text = Text(ruler.texts[i], float(x), float(y), 0.0, wide, tall)
        room = text.bounds()
        if _inside(room, lens) and not any(_touch(room, other) for other in taken):
            placed.append(text)
            taken.append(room)
    return placed


def _title(
    lens: Lens,
    ends: FloatArray,
    ruler: Ruler,
    away: FloatArray,
    measure: Measure,
    numbers: list[Text],
) -> list[Text]:
    """Return the title along its edge, shortened and slid along it until it is inside."""
    run = ends[1] - ends[0]
    length = float(np.hypot(*run))
    angle = math.degrees(math.atan2(run[1], run[0]))
    # Read from the left, or from below for a steep edge.
    angle = (angle + 90.0) % 180.0 - 90.0
    if angle > 80.0:
        angle -= 180.0
    middle = ends.mean(axis=0)
    tall = measure(ruler.title)[1]
    # Beyond the outermost of its own numbers; they reach as far out all along a straight edge.
    reach = [
        (text.x - middle[0]) * away[0]
        + (text.y - middle[1]) * away[1]
        + (abs(away[0]) * text.width + abs(away[1]) * text.height) / 2
        for text in numbers
    ]
    place = middle + away * (max([TICK, *reach]) + GAP / 2 + tall / 2)
    text = None
    for share in (1.5, 1.3, 1.1, 0.9, 0.7, 0.5):
        title = elided(ruler.title, max(length * share, 40.0), measure)
        if not title or (text is not None and title == text.text):
            continue
        x, y = place
        text = Text(title, float(x), float(y), angle, *measure(title), title=True)
        text = _slid(text, lens, run / length)
        if _inside(text.bounds(), lens):
            return [text]
    return [_kept_inside(text, lens)] if text is not None else []


def _slid(text: Text, lens: Lens, along: FloatArray) -> Text:
    """Return a text moved along its edge as far as it needs to be inside."""
    right, down = _overflow(text, lens)
    moves = [-over / way for over, way in zip((right, down), along, strict=True)
             if over and abs(way) > 0.2]  # fmt: skip
    if not moves:
        return text
    far = max(moves, key=abs)
    return replace(text, x=text.x + far * float(along[0]), y=text.y + far * float(along[1]))


def _overflow(text: Text, lens: Lens) -> tuple[float, float]:
    """Return how far a text is outside, right and down; negative for left and up."""
    left, top, right, bottom = text.bounds()
    return (
        max(right + 1 - lens.width, 0.0) - max(1 - left, 0.0),
        max(bottom + 1 - lens.height, 0.0) - max(1 - top, 0.0),
    )


def elided(text: str, room: float, measure: Measure) -> str:
    """Return a title that fits: its unit, at the end, is kept and its name shortened."""
    if measure(text)[0] <= room:
        return text
    name, comma, unit = text.rpartition(", ")
    name = name or text
    tail = f"{comma}{unit}" if comma else ""
    while name:
        name = name[:-1].rstrip()
        if measure(f"{name}…{tail}")[0] <= room:
            return f"{name}…{tail}"
    return unit if comma else ""


def _inside(room: Room, lens: Lens) -> bool:
    left, top, right, bottom = room
    return left >= 0 and top >= 0 and right <= lens.width and bottom <= lens.height


def _kept_inside(text: Text, lens: Lens) -> Text:
    right, down = _overflow(text, lens)
    return replace(text, x=text.x - right, y=text.y - down)


def _touch(a: Room, b: Room) -> bool:
    return a[0] < b[2] + BESIDE and b[0] < a[2] + BESIDE and a[1] < b[3] and b[1] < a[3]


def texts_of(values: FloatArray, labels: Labels = NO_LABELS) -> list[str]:
    """Return breakpoints as text; long ones with fewer digits, the read-out has them all."""
    return [labels.name(v) or _brief(v) for v in values.tolist()]


def _brief(value: float) -> str:
    text = short(value)
    return text if len(text) <= 6 else short(value, 4)
