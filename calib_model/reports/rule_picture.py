"""The small picture of a kind of rule as SVG, legible in black and white."""

from __future__ import annotations

from html import escape

from ..core.rule_settings import Dot, Picture, PictureLine, PicturePart, PicturePatch, Points

WIDTH, HEIGHT = 96, 64
_STROKES = {
    PicturePart.HELD: 'stroke="currentColor" stroke-width="2"',
    PicturePart.BROKEN: 'stroke="currentColor" stroke-width="2" stroke-dasharray="2 3"',
    PicturePart.OTHER: 'stroke="#777" stroke-width="2"',
    PicturePart.LIMIT: 'stroke="#777" stroke-width="1" stroke-dasharray="6 3"',
}


def rule_picture_svg(picture: Picture) -> str:
    """Return a picture as one SVG element, its words as its title.

    Parameters
    ----------
    picture : Picture
        Coordinates within the unit square, y upwards.
    """
    parts = []
    for mark in picture.marks:
        match mark:
            case PictureLine():
                parts.append(
                    f'<polyline fill="none" {_STROKES[mark.part]} points="{_at(mark.points)}"/>'
                )
            case PicturePatch():
                parts.append(
                    f'<polygon fill="#777" fill-opacity="0.25" points="{_at(mark.points)}"/>'
                )
            case Dot():
                x, y = _place(*mark.at)
                filled = "currentColor" if mark.part is PicturePart.HELD else "none"
                parts.append(
                    f'<circle cx="{x}" cy="{y}" r="4" fill="{filled}" stroke="currentColor" '
                    'stroke-width="2"/>'
                )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" role="img"><title>{escape(picture.words)}</title>'
        f"{''.join(parts)}</svg>"
    )


def _place(x: float, y: float) -> tuple[str, str]:
    return f"{x * WIDTH:.4g}", f"{(1 - y) * HEIGHT:.4g}"


def _at(points: Points) -> str:
    return " ".join(",".join(_place(x, y)) for x, y in points)
