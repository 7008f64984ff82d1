"""The plane through the standing points, and caster and camber as it sees them."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, from_covariance, propagate
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.level.heights import Heights

F64 = NDArray[np.float64]

LEAST_APART_M = 0.5
"""Points must spread at least so far (root mean square) in their narrowest direction."""
STEP = 1e-6


@dataclass(frozen=True, slots=True)
class StandingPlane:
    """The least-squares plane through all standing points of a bay, each counting the same.

    Slopes are tangents: ``lengthwise`` rises forward, ``crosswise`` rises to the left. ``off_m``
    (n,) is how far each point lies above the plane. Both slopes come from one survey, so what
    they bring into results is the same in all results of the bay.
    """

    name: str
    lengthwise: Measured
    crosswise: Measured
    off_m: F64

    @property
    def normal(self) -> F64:
        """The plane's upward normal, shape (3,), not normalised."""
        return np.array([-self.lengthwise.value, -self.crosswise.value, 1.0])


def plane_through(heights: Heights, name: str) -> StandingPlane:
    """Return the plane; ``name`` tells its survey from others.

    Raises:
        MeasurementRefused: ``in-line``: the points do not span a plane.
    """
    place = np.array([[point.x_m, point.y_m] for point in heights.points])
    place = place - place.mean(axis=0)
    narrow = float(np.linalg.svd(place, compute_uv=False)[-1]) / math.sqrt(len(place))
    if len(place) < 3 or narrow < LEAST_APART_M / 2.0:
        raise MeasurementRefused(
            "in-line",
            f"{len(place)} points spread by {narrow:.3f} m to the side of their line, limit "
            f"{LEAST_APART_M / 2.0:.3f} m; take in the points of both sides and of two axles",
            figure=narrow,
            limit=LEAST_APART_M / 2.0,
        )
    gain = np.linalg.inv(place.T @ place) @ place.T
    slopes = gain @ heights.height_m
    spread = gain @ heights.covariance_m2 @ gain.T
    along, across = from_covariance(slopes, spread, source=name, shared=True, stands_on=(name,))
    return StandingPlane(name, along, across, heights.height_m - place @ slopes)


@dataclass(frozen=True, slots=True)
class Referred:
    """Caster, SAI and camber of one wheel against another reference than the vertical, rad."""

    caster: Measured
    camber: Measured
    sai: Measured | None
    included: Measured | None


def to_plane(
    side: Side, caster: Measured, camber: Measured, sai: Measured | None, plane: StandingPlane
) -> Referred:
    """Return angles told against the vertical as the plane's normal sees them.

    The plane's X lies under the vehicle's. An SAI that is not known is taken as that of a
    vertical axis for the caster, which it moves by less than the plane's slope squared.
    """
    inputs = [caster, camber, Measured.exact(0.0) if sai is None else sai]
    inputs += [plane.lengthwise, plane.crosswise]
    values = np.array([each.value for each in inputs])
    found = _seen(side, values)
    steps = STEP * np.eye(len(values))
    slopes = np.stack([_seen(side, values + s) - _seen(side, values - s) for s in steps], axis=1)
    slopes /= 2.0 * STEP
    told = [
        propagate(value, row.tolist(), inputs) for value, row in zip(found, slopes, strict=True)
    ]
    if sai is None:
        return Referred(told[0], told[1], None, None)
    return Referred(told[0], told[1], told[2], told[2] + told[1])


def _seen(side: Side, values: F64) -> F64:
    """Return caster, camber and SAI in the plane's own frame."""
    caster, camber, sai, along, across = values.tolist()
    up = np.array([-along, -across, 1.0])
    up /= np.linalg.norm(up)
    ahead = np.array([1.0, 0.0, 0.0]) - up[0] * up
    ahead /= np.linalg.norm(ahead)
    left = np.cross(up, ahead)
    axis = np.array([-math.tan(caster), -side.sign * math.tan(sai), 1.0])
    spin = np.array([0.0, side.sign * math.cos(camber), -math.sin(camber)])
    return np.array(
        [
            math.atan(-(axis @ ahead) / (axis @ up)),
            -math.asin(spin @ up),
            math.atan(-side.sign * (axis @ left) / (axis @ up)),
        ]
    )


def caster_to_frame(caster: Measured, frame_front_down: Measured) -> Measured:
    """Return the caster against the frame, rad.

    A frame whose front is down by x lowers the caster told against the vertical by x (US
    technical manuals for trucks: specified caster less frame angle is what to measure).
    """
    return caster + frame_front_down
