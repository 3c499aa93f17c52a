"""From where a scene is looked at, and where its points appear.  Plain numpy, no Qt.

The scene is a box around the origin (`scene.HALF`): x to the right runs along a map's second
axis, y runs against its first one, so that the view from above is laid out as the grid is, and
z runs up.  Matrices multiply column vectors, as OpenGL has it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from calib_model.core.arrays import FloatArray

FIELD = 20.0
"""Angle of view across the width, in degrees."""
ROOM = 2.2
"""Radius around the origin that is never cut off by the near and far plane."""
ZOOMS = (0.4, 12.0)


class Look(Enum):
    """Standard views: azimuth and elevation in degrees."""

    FRONT = (-90.0, 0.0)
    """Along the first axis: the second one runs to the right."""
    SIDE = (180.0, 0.0)
    """Along the second axis: the first one runs to the right."""
    TOP = (-90.0, 90.0)
    """As the heat map lies."""
    CORNER = (-58.0, 26.0)


@dataclass(frozen=True)
class Camera:
    """From where the scene is looked at.

    Parameters
    ----------
    azimuth : float
        Degrees around z; 0 looks from +x, 90 from +y.
    elevation : float
        Degrees above the floor, 0 to 90.
    zoom : float
        1 fits the box to the picture.
    pan : tuple of two floats
        Shift of the picture, in half widths and half heights, right and up.
    perspective : bool
        False gives parallel lines (orthographic).
    """

    azimuth: float = Look.CORNER.value[0]
    elevation: float = Look.CORNER.value[1]
    zoom: float = 1.0
    pan: tuple[float, float] = (0.0, 0.0)
    perspective: bool = True

    def turned(self, azimuth: float, elevation: float) -> Camera:
        """Return the camera moved around the scene by some degrees."""
        around = (self.azimuth + azimuth + 180.0) % 360.0 - 180.0
        return replace(
            self, azimuth=around, elevation=float(np.clip(self.elevation + elevation, 0.0, 90.0))
        )

    def zoomed(self, factor: float) -> Camera:
        """Return the camera with a larger picture; the middle stays where it is."""
        zoom = float(np.clip(self.zoom * factor, *ZOOMS))
        share = zoom / self.zoom
        return replace(self, zoom=zoom, pan=(self.pan[0] * share, self.pan[1] * share))

    def panned(self, right: float, up: float) -> Camera:
        """Return the camera with the picture shifted, within reason."""
        reach = max(self.zoom, 1.0)
        return replace(
            self,
            pan=(
                float(np.clip(self.pan[0] + right, -reach, reach)),
                float(np.clip(self.pan[1] + up, -reach, reach)),
            ),
        )

    def looking(self, look: Look) -> Camera:
        """Return the camera at a standard view; asked for the corner again, at the next one."""
        azimuth, elevation = look.value
        if look is Look.CORNER and self.elevation == elevation:
            steps = (self.azimuth - azimuth) / 90.0
            if abs(steps - round(steps)) < 1e-6:
                azimuth = self.turned(90.0, 0.0).azimuth
        return replace(self, azimuth=azimuth, elevation=elevation)

    @property
    def direction(self) -> FloatArray:
        """Unit vector from the origin to the eye, shape (3,)."""
        a, e = np.radians(self.azimuth), np.radians(self.elevation)
        return np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])


@dataclass(frozen=True, eq=False)
class Lens:
    """A camera in front of a picture of some size: the matrices, and what follows from them.

    Parameters
    ----------
    camera : Camera
    width, height : float
        Of the picture, in screen units.
    distance : float
        Of the eye from the origin.
    view, projection : float arrays, shape (4, 4)
    """

    camera: Camera
    width: float
    height: float
    distance: float
    view: FloatArray
    projection: FloatArray

    @property
    def matrix(self) -> FloatArray:
        """Projection times view."""
        return np.asarray(self.projection @ self.view)

    def project(self, points: FloatArray) -> FloatArray:
        """Return where points appear.

        Parameters
        ----------
        points : float array, shape (..., 3)

        Returns
        -------
        float array, shape (..., 3)
            Right and down in screen units from the upper left corner, and depth (-1 near,
            1 far).
        """
        clip = points @ self.matrix[:, :3].T + self.matrix[:, 3]
        ndc = clip[..., :3] / clip[..., 3:]
        return np.stack(
            [
                (ndc[..., 0] + 1.0) * 0.5 * self.width,
                (1.0 - ndc[..., 1]) * 0.5 * self.height,
                ndc[..., 2],
            ],
            axis=-1,
        )

    def height_at(self, point: FloatArray, down: float) -> float:
        """Return the z at which the upright line through a point appears `down` from the top.

        NaN where the line is seen end on.
        """
        base = self.matrix @ np.array([point[0], point[1], 0.0, 1.0])
        rise = self.matrix[:, 2]
        aim = 1.0 - 2.0 * down / self.height
        slope = rise[1] - aim * rise[3]
        if abs(slope) < 1e-3:
            return float("nan")
        return float((aim * base[3] - base[1]) / slope)

    def pixels_per_height(self, point: FloatArray) -> float:
        """Return how many screen units a z of 1 measures at a point (NaN: seen end on)."""
        ends = self.project(np.stack([point, point + np.array([0.0, 0.0, 1e-3])]))
        return float(abs(ends[1, 1] - ends[0, 1]) / 1e-3)

    def toward_eye(self, points: FloatArray) -> FloatArray:
        """Return unit vectors from points to the eye, same shape."""
        if not self.camera.perspective:
            return np.broadcast_to(self.camera.direction, points.shape)
        ray = self.camera.direction * self.distance - points
        return np.asarray(ray / np.linalg.norm(ray, axis=-1, keepdims=True))


def lens(
    camera: Camera,
    corners: FloatArray,
    width: float,
    height: float,
    margins: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
) -> Lens:
    """Return the lens that fits a box into a picture, as far as zoom and pan leave it there.

    Parameters
    ----------
    camera : Camera
    corners : float array, shape (n, 3)
        What must fit.
    width, height : float
    margins : tuple of four floats
        Screen units kept free: left, top, right, bottom.
    """
    width, height = max(width, 1.0), max(height, 1.0)
    left, top, right, bottom = margins
    room = np.array([max(width - left - right, 40.0), max(height - top - bottom, 40.0)])
    share = room / (width, height)
    near, far = 0.5, 400.0
    for _ in range(40):
        distance = 0.5 * (near + far)
        low, high = _bounds(camera, corners, distance, width / height)
        if ((high - low) / 2.0 > share).any():
            near = distance
        else:
            far = distance
    low, high = _bounds(camera, corners, far, width / height)
    # The middle of what is drawn goes to the middle of the room that the margins leave.
    goal = np.array([(left - right) / width, (bottom - top) / height])
    shift = goal - (low + high) / 2.0
    placed = _shifted(*shift) @ _projection(camera, far, width / height)
    scaled = _shifted(*camera.pan) @ np.diag([camera.zoom, camera.zoom, 1.0, 1.0]) @ placed
    return Lens(camera, width, height, far, view_matrix(camera, far), scaled)


def view_matrix(camera: Camera, distance: float) -> FloatArray:
    """Return the matrix from the scene to the eye, shape (4, 4)."""
    a, e = np.radians(camera.azimuth), np.radians(camera.elevation)
    right = [-np.sin(a), np.cos(a), 0.0]
    up = [-np.sin(e) * np.cos(a), -np.sin(e) * np.sin(a), np.cos(e)]
    matrix = np.eye(4)
    matrix[:3, :3] = np.array([right, up, camera.direction])
    matrix[2, 3] = -distance
    return matrix


def _projection(camera: Camera, distance: float, aspect: float) -> FloatArray:
    across = np.tan(np.radians(FIELD) / 2.0)
    near, far = max(distance - ROOM, distance * 0.02), distance + ROOM
    matrix = np.zeros((4, 4))
    if camera.perspective:
        matrix[0, 0], matrix[1, 1] = 1.0 / across, aspect / across
        matrix[2, 2], matrix[2, 3] = (far + near) / (near - far), 2 * far * near / (near - far)
        matrix[3, 2] = -1.0
    else:
        # The same size at the origin as in perspective, so that switching does not jump.
        matrix[0, 0], matrix[1, 1] = 1.0 / (across * distance), aspect / (across * distance)
        matrix[2, 2], matrix[2, 3] = 2.0 / (near - far), (far + near) / (near - far)
        matrix[3, 3] = 1.0
    return matrix


def _shifted(right: float, up: float) -> FloatArray:
    matrix = np.eye(4)
    matrix[:2, 3] = right, up
    return matrix


def _bounds(
    camera: Camera, corners: FloatArray, distance: float, aspect: float
) -> tuple[FloatArray, FloatArray]:
    matrix = _projection(camera, distance, aspect) @ view_matrix(camera, distance)
    clip = corners @ matrix[:, :3].T + matrix[:, 3]
    if (clip[:, 3] <= 1e-6).any():  # the eye is inside the box
        return np.full(2, -np.inf), np.full(2, np.inf)
    flat = clip[:, :2] / clip[:, 3:]
    return flat.min(axis=0), flat.max(axis=0)
