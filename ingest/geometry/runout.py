"""What the run-out of a turned wheel came to.

Everything is told of the LEFT spin axis, so that the side of the vehicle enters only where a
camber is asked for (see ``ingest.core.frames``).
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.arc import TurnWorth
from ingest.geometry.attitude import HungEncoder, TiltedPlane
from ingest.geometry.clamp import ClampError

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Turn:
    """The readings of one turn, all of shape (n,), rad.

    ``rotation_rad`` is the encoder on the stub shaft, or the spin angle itself where
    ``is_spin``. ``incl_x_rad`` None: the head hangs straight down. ``azimuth_rad`` None: no
    sightline.
    """

    rotation_rad: F64
    incl_y_rad: F64
    incl_x_rad: F64 | None = None
    azimuth_rad: F64 | None = None
    is_spin: bool = False
    hung_rad: F64 = field(init=False, repr=False)
    """``incl_x``, level where it is not read."""
    encoder: HungEncoder | None = field(init=False, repr=False)
    """The encoder as read, where the spin angle is still to be found."""
    plane: TiltedPlane | None = field(init=False, repr=False)
    """The sightline as read, where there is one."""
    elevation_sine: F64 = field(init=False, repr=False)
    elevation_scale: float = field(init=False, repr=False)
    """Change of sin(incl_y) per radian of incl_y, over the turn (root mean square)."""

    def __post_init__(self) -> None:
        n = len(self.rotation_rad)
        for name, channel in self.channels().items():
            if channel.shape != (n,):
                raise ValueError(f"{name} has shape {channel.shape}, rotation has ({n},)")
        with np.errstate(invalid="ignore"):
            self._prepare()

    def _prepare(self) -> None:
        """Work out, once, what every pass of a fit needs."""
        n = len(self)
        hung = np.zeros(n) if self.incl_x_rad is None else self.incl_x_rad
        encoder, plane = None, None
        if not self.is_spin:
            encoder = HungEncoder.read(self.rotation_rad, hung, self.incl_y_rad)
        if self.azimuth_rad is not None:
            plane = TiltedPlane.read(self.azimuth_rad, hung, self.incl_y_rad)
        sine = np.sin(self.incl_y_rad)
        scale = math.sqrt(max(1.0 - float(np.mean(sine**2)), 0.0)) if n else 1.0
        object.__setattr__(self, "hung_rad", hung)
        object.__setattr__(self, "encoder", encoder)
        object.__setattr__(self, "plane", plane)
        object.__setattr__(self, "elevation_sine", sine)
        object.__setattr__(self, "elevation_scale", scale)

    def channels(self) -> dict[str, F64]:
        """Return the channels that are there, by name."""
        named = {
            "rotation": self.rotation_rad,
            "incl_y": self.incl_y_rad,
            "incl_x": self.incl_x_rad,
            "azimuth": self.azimuth_rad,
        }
        return {name: channel for name, channel in named.items() if channel is not None}

    def __len__(self) -> int:
        return len(self.rotation_rad)


@dataclass(frozen=True, slots=True)
class Eccentricity:
    """How far off centre a clamp sits, highest at spin angle ``phase_rad``.

    ``swing_rad`` is the offset in lengths of the sightline: the swing it causes. ``offset_m``
    needs the sightline's length; without that the swing also holds the stub shaft's own sweep.
    """

    swing_rad: float
    phase_rad: float
    offset_m: float | None


@dataclass(frozen=True, slots=True)
class RunoutEstimates:
    """The fit's values with their uncertainty; all stand on one source, so correlations hold.

    Only the noise of the turn is in them. What a head's calibration record leaves open is
    common to all its readings: add it to the value that leaves, as a shared part.
    """

    elevation: Measured
    angle: Measured
    phase: Measured
    heading: Measured | None = None
    swing: Measured | None = None


@dataclass(frozen=True, slots=True)
class SecondHarmonic:
    """What goes round twice while the wheel goes round once, in the elevation of the shaft.

    ``phase_rad`` is the spin angle, within a quarter turn of 0, where it is greatest.
    """

    amplitude: Measured
    phase: Measured


BENT = "bent-flange-or-loose-bearing"
"""A second harmonic is proven: the axis itself moves, twice a turn."""
UNSTEADY = "unsteady"
"""Something may have moved during the turn, by less than it is refused for."""
ODD_STOP = "one-stop-disagrees"
"""The stops speak against one of them; take it again."""


@dataclass(frozen=True, slots=True)
class Runout:
    """The run-out of a wheel and clamp, fitted from a turn. Angles in rad.

    ``elevation_rad`` is that of the left spin axis during the turn; ``heading_rad`` the plan
    angle from the sightline to the wheel's heading, counter-clockwise; ``clamp`` the error that
    is carried on. ``worth`` counts the readings used; ``harmonics`` is the highest order
    fitted; ``dof`` = channels * (n - parameters); ``rms_rad`` over all residuals of the readings
    used; ``outliers`` indexes rows from 0. ``estimates`` is None where the noise is not known:
    no degrees of freedom and no stated standard deviation. ``second`` is there where the
    readings prove it. ``hints`` are words for what should be looked at (such as ``BENT``), the
    gravest first; ``odd_stop`` is the row, from 0, that ``ODD_STOP`` speaks of.
    """

    elevation_rad: float
    clamp: ClampError
    heading_rad: float | None
    eccentricity: Eccentricity | None
    worth: TurnWorth
    harmonics: int
    dof: int
    rms_rad: float
    sigma_rad: float | None
    outliers: tuple[int, ...]
    estimates: RunoutEstimates | None
    second: SecondHarmonic | None = None
    hints: tuple[str, ...] = ()
    odd_stop: int | None = None

    def camber_rad(self, side: Side) -> float:
        """Return the camber during the turn, top outward positive."""
        return -side.sign * self.elevation_rad

    def camber(self, side: Side) -> Measured | None:
        """Return the camber during the turn with its uncertainty, where that is known."""
        return None if self.estimates is None else self.estimates.elevation * -side.sign

    @property
    def u_camber_rad(self) -> float:
        """Standard uncertainty of the camber, NaN where the noise is not known."""
        return math.nan if self.estimates is None else self.estimates.elevation.u


@dataclass(frozen=True, slots=True)
class RunoutLimits:
    """What a turn must reach to be taken.

    ``u_camber_rad`` is the largest standard uncertainty of the camber (infinite while a turn is
    still going on).
    """

    u_camber_rad: float = math.radians(0.05)
    condition: float = 1e4

    def __post_init__(self) -> None:
        if not (self.u_camber_rad > 0.0 and self.condition > 1.0):
            raise ValueError("the limits of a run-out must be above zero")


def refuse_uncertain(runout: Runout, limits: RunoutLimits) -> None:
    """Raise ``MeasurementRefused`` when the camber is known less well than asked for.

    An unknown uncertainty cannot be held against a limit and is let through as unknown.
    """
    u = runout.u_camber_rad
    if u > limits.u_camber_rad:
        raise MeasurementRefused(
            "u-too-large",
            f"the camber is known to {math.degrees(u):.4g} deg (standard uncertainty), "
            f"limit {math.degrees(limits.u_camber_rad):.4g} deg; turn further or take more stops",
            figure=math.degrees(u),
            limit=math.degrees(limits.u_camber_rad),
        )
