"""Small pictures: orientation, empty cells, odd tables."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QSize
from PySide6.QtGui import QColor, QGuiApplication, QPalette

from app.colours import contrast
from app.tune.thumbnails import Thumbnails, draw, heat_image
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.table import Table


def test_rows_run_down_and_columns_across() -> None:
    # Asymmetric, so that a transposed or flipped picture differs in shape or colour.
    values = np.array([[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]])
    image = heat_image(values, (0.0, 5.0), dark=False)
    assert (image.width(), image.height()) == (3, 2)
    light = [[image.pixelColor(x, y).lightnessF() for x in range(3)] for y in range(2)]
    assert light[0][0] > light[0][2] > light[1][0] > light[1][2]


def test_an_empty_cell_is_clear() -> None:
    image = heat_image(np.array([[0.0, np.nan]]), (0.0, 1.0), dark=True)
    assert image.pixelColor(0, 0).alpha() == 255
    assert image.pixelColor(1, 0).alpha() == 0


@pytest.mark.parametrize(
    "table",
    [
        Table("scalar", 123456.789),
        Table("empty", np.nan),
        Table("flat", [1.0, 1.0], (Axis([0.0, 1.0]),)),
        Table("gaps", [1.0, np.nan, 2.0, np.nan], (Axis([0.0, 1.0, 2.0, 3.0]),)),
        Table("all_empty", [np.nan, np.nan], (Axis([0.0, 1.0]),)),
        Table("disordered", [1.0, 2.0, 0.0], (Axis([0.0, 5.0, 5.0]),)),
        Table("one", [1.0], (Axis([0.0]),)),
        Table("steps", [1.0, 2.0], (Axis([0.0, 1.0], interpolation=Interpolation.STEP),)),
        Table("map", np.full((2, 3), np.nan), (Axis([0.0, 1.0]), Axis([0.0, 1.0, 2.0]))),
        Table("deep", np.zeros((2, 2, 3, 2)), (Axis([0.0, 1.0]), Axis([0.0, 1.0]),
              Axis([0.0, 1.0, 2.0]), Axis([0.0, 1.0]))),
    ],
    ids=lambda table: table.id,
)  # fmt: skip
def test_every_table_has_a_picture(qapp, table: Table) -> None:  # type: ignore[no-untyped-def]
    picture = draw(table, QSize(60, 34), QGuiApplication.palette(), 2.0)
    assert picture.size() == QSize(120, 68)
    colours = {picture.toImage().pixelColor(x, y).rgba() for x in range(120) for y in range(68)}
    assert len(colours) > 1


def test_a_curve_falls_from_left_to_right(qapp) -> None:  # type: ignore[no-untyped-def]
    palette = QGuiApplication.palette()
    table = Table("fade", [1.0, 0.0], (Axis([0.0, 1.0]),))
    image = draw(table, QSize(60, 34), palette).toImage()
    base = palette.color(QPalette.ColorRole.Base)

    def inked(x: int, y: int) -> bool:
        return any(contrast(QColor(image.pixelColor(x + d, y + d)), base) > 4 for d in (-1, 0, 1))

    assert inked(5, 4)
    assert inked(54, 29)
    assert not inked(54, 4)


def test_another_palette_or_table_is_drawn_anew(qapp) -> None:  # type: ignore[no-untyped-def]
    pictures = Thumbnails(QSize(60, 34))
    table = Table("a", 1.0)
    palette = QPalette()
    first = pictures.of(table, palette)
    assert pictures.of(table, palette) is first
    dark = QPalette()
    dark.setColor(QPalette.ColorRole.Text, QColor("white"))
    pictures.of(table, dark)
    pictures.of(table.with_values(2.0), dark)
    assert pictures.drawn == 3
