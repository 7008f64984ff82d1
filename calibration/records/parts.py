"""The parts of a calibration record that say what a head reads wrong.

At this edge angles are degrees and every name says so.
"""

from typing import Annotated, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, model_validator

Uncertainty = Annotated[float, Field(ge=0)]
Vector = tuple[float, float] | tuple[float, float, float]
VectorU = tuple[Uncertainty, Uncertainty] | tuple[Uncertainty, Uncertainty, Uncertainty]
Matrix = tuple[Vector, ...]
MatrixU = tuple[VectorU, ...]
AzimuthChannel = Literal["azimuth_cross", "azimuth_track"]
CircularChannel = Literal["rotation", "azimuth_cross", "azimuth_track", "steer"]
AnyChannel = Literal[
    "incl_x",
    "incl_y",
    "incl_z",
    "rotation",
    "azimuth_cross",
    "azimuth_track",
    "steer",
    "temperature",
]


CHANNELS: tuple[AnyChannel, ...] = get_args(AnyChannel)
"""In the order of the rows that a correction takes."""


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def _is_none(value: object) -> bool:
    return value is None


class TiltPart(Part):
    """The inclinometer: ``s_true = M(T) @ (s_raw - b(T))`` on the sines of the readings.

    Rows are incl_x, incl_y and, with three axes, incl_z. ``b(T)`` is ``bias_deg`` (as an angle
    at zero) plus ``bias_deg_per_degc`` times T minus the reference temperature; ``M(T)`` is
    ``matrix`` with row i times 1 plus ``scale_per_degc[i]`` times the same difference. Every
    ``u_`` is a standard uncertainty; ``dof`` null means many.
    """

    reference_temperature_degc: float
    bias_deg: Vector
    u_bias_deg: VectorU
    matrix: Matrix
    u_matrix: MatrixU
    bias_deg_per_degc: Vector
    u_bias_deg_per_degc: VectorU
    scale_per_degc: Vector
    u_scale_per_degc: VectorU
    dof: Annotated[float, Field(gt=0)] | None = None
    u_wander_deg: Annotated[VectorU | None, Field(exclude_if=_is_none)] = None
    """The part of ``u_bias_deg`` that zeros stray by with time; absent where it was not told."""

    @model_validator(mode="after")
    def _check_shapes(self) -> Self:
        n = len(self.bias_deg)
        vectors = {
            "u_bias_deg": self.u_bias_deg,
            "bias_deg_per_degc": self.bias_deg_per_degc,
            "u_bias_deg_per_degc": self.u_bias_deg_per_degc,
            "scale_per_degc": self.scale_per_degc,
            "u_scale_per_degc": self.u_scale_per_degc,
            "u_wander_deg": self.u_bias_deg if self.u_wander_deg is None else self.u_wander_deg,
        }
        for name, vector in vectors.items():
            if len(vector) != n:
                raise ValueError(f"{name} has {len(vector)} axes, bias_deg has {n}")
        for name, rows in {"matrix": self.matrix, "u_matrix": self.u_matrix}.items():
            if len(rows) != n or any(len(row) != n for row in rows):
                raise ValueError(f"{name} is not {n} by {n}")
        return self


class Harmonic(Part):
    """One harmonic of an encoder's error: ``cos_deg cos(k raw) + sin_deg sin(k raw)``."""

    order: Literal[1, 2, 4]
    cos_deg: float
    sin_deg: float
    u_deg: Uncertainty
    """Standard uncertainty of each of the two."""


OPEN_ZERO_DEG = 180.0
"""Standard uncertainty of a zero that nothing tells: it may be anywhere on the circle."""


class EncoderPart(Part):
    """An encoder: ``true = raw - zero - sum of harmonics of raw``.

    Of a zero that was left open (``u_zero_deg`` is ``OPEN_ZERO_DEG``) ``zero_deg`` is at most what
    was read as the head sat, and nothing may stand on it.
    """

    zero_deg: float
    u_zero_deg: Uncertainty
    harmonics: tuple[Harmonic, ...] = ()
    dof: Annotated[float, Field(gt=0)] | None = None

    @property
    def zero_open(self) -> bool:
        """Whether nothing tells the zero."""
        return self.u_zero_deg >= OPEN_ZERO_DEG

    @model_validator(mode="after")
    def _check_orders(self) -> Self:
        orders = [h.order for h in self.harmonics]
        if len(set(orders)) != len(orders):
            raise ValueError("a harmonic is given twice")
        return self


class Port(Part):
    """Where a sightline starts, from the point where the shaft meets the hub."""

    forward_m: float
    outward_m: float
    u_forward_m: Uncertainty
    u_outward_m: Uncertainty


class ChannelFigures(Part):
    """What a channel's readings look like at rest."""

    noise_deg: Uncertainty
    """Standard deviation of one reading (degC for the temperature)."""
    resolution_deg: Uncertainty
    """Smallest step of a reading (degC for the temperature)."""


class Coefficients(Part):
    """All that a record says of a head's readings: what is applied, and how well it is known."""

    tilt: TiltPart | None = None
    encoders: dict[CircularChannel, EncoderPart] = {}
    ports: dict[AzimuthChannel, Port] = {}
    stub_m: Annotated[float, Field(ge=0)] = 0.0
    """From the point where the shaft meets the hub to the head's own centre."""
    u_stub_m: Uncertainty = 0.0
    channels: dict[AnyChannel, ChannelFigures] = {}
