"""A head's own sensor errors: from what is true to what its sensors read.

The correction that a calibration applies afterwards is, with s the sines of the three
elevations and T the temperature::

    s_true = M(T) (s_raw - b(T)),   M(T) = M0 (1 + kT (T - T0)),   b(T) = b0 + bT (T - T0)
    true   = raw - zero - sum over k of (a_k cos(k raw) + b_k sin(k raw)),   k = 1, 2, 4

so that here both are solved for raw.
"""

from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG

HARMONICS = (1, 2, 4)
SOLVE_STEPS = 4
"""Newton steps; each squares what is left, some 0.05 rad at the largest harmonics drawn."""

TILT_ROWS = (ROW[Channel.INCL_X], ROW[Channel.INCL_Y], ROW[Channel.INCL_Z])


@dataclass(frozen=True, slots=True)
class TiltErrors:
    """M0, shape (3, 3), and b0, shape (3,), in sines; kT per degC; bT per degC, shape (3,)."""

    matrix: F64 = field(default_factory=lambda: np.eye(3))
    bias: F64 = field(default_factory=lambda: np.zeros(3))
    matrix_per_degc: float = 0.0
    bias_per_degc: F64 = field(default_factory=lambda: np.zeros(3))
    reference_degc: float = 20.0

    def raw(self, true_sines: F64, temperature_degc: F64) -> F64:
        """Return the sines that the sensor reads, shape (3, n), for true ones, shape (3, n)."""
        warm = temperature_degc - self.reference_degc
        inverse = np.linalg.inv(self.matrix)
        bias = self.bias[:, None] + self.bias_per_degc[:, None] * warm
        raw: F64 = inverse @ true_sines / (1.0 + self.matrix_per_degc * warm) + bias
        return raw


@dataclass(frozen=True, slots=True)
class CircleErrors:
    """The zero of an encoder and its harmonics 1, 2 and 4 of the raw angle, radians."""

    zero_rad: float = 0.0
    cos_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)
    sin_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def raw(self, true_rad: F64) -> F64:
        """Return the angle that the encoder reads for a true one."""
        raw = true_rad + self.zero_rad
        if not any(self.cos_rad) and not any(self.sin_rad):
            return raw
        for _ in range(SOLVE_STEPS):
            total, slope = self._harmonics(raw)
            raw = raw - (raw - true_rad - self.zero_rad - total) / (1.0 - slope)
        return raw

    def _harmonics(self, raw_rad: F64) -> tuple[F64, F64]:
        """Return the sum of the harmonics at a raw angle, and its slope there."""
        orders = np.array(HARMONICS)[:, None]
        cosines, sines = np.cos(orders * raw_rad), np.sin(orders * raw_rad)
        a, b = np.array(self.cos_rad)[:, None], np.array(self.sin_rad)[:, None]
        # Sums along the rows, not products of matrices: no bit depends on the size of the block.
        total: F64 = (a * cosines + b * sines).sum(axis=0)
        slope: F64 = (orders * (b * cosines - a * sines)).sum(axis=0)
        return total, slope


@dataclass(frozen=True, slots=True)
class Noise:
    """White noise of one reading (1 sigma), radians and degrees Celsius."""

    tilt_rad: float = 0.003 * DEG
    azimuth_rad: float = 0.005 * DEG
    encoder_rad: float = 0.01 * DEG
    temperature_degc: float = 0.01

    def per_channel(self) -> F64:
        """Return one sigma per channel row, shape (8,)."""
        by_channel = {
            Channel.INCL_X: self.tilt_rad,
            Channel.INCL_Y: self.tilt_rad,
            Channel.INCL_Z: self.tilt_rad,
            Channel.ROTATION: self.encoder_rad,
            Channel.STEER: self.encoder_rad,
            Channel.AZIMUTH_CROSS: self.azimuth_rad,
            Channel.AZIMUTH_TRACK: self.azimuth_rad,
            Channel.TEMPERATURE: self.temperature_degc,
        }
        return np.array([by_channel[channel] for channel in ROW])


@dataclass(frozen=True, slots=True)
class Warming:
    """The temperature inside a head: it warms up slowly, and breathes with the hall's air."""

    start_degc: float = 20.0
    rise_degc: float = 0.0
    time_s: float = 900.0
    breath_degc: float = 0.0
    breath_s: float = 420.0

    def at(self, t_s: F64) -> F64:
        """Return the temperature at each time (the start value before time zero)."""
        warmed = self.rise_degc * (1.0 - np.exp(-np.maximum(t_s, 0.0) / self.time_s))
        breath = self.breath_degc * np.sin(2.0 * np.pi * t_s / self.breath_s)
        temperature: F64 = self.start_degc + warmed + breath
        return temperature


@dataclass(frozen=True, slots=True)
class Sensors:
    """All that is wrong with one head's sensors. The default is a perfect, silent head."""

    tilt: TiltErrors = field(default_factory=TiltErrors)
    rotation: CircleErrors = field(default_factory=CircleErrors)
    azimuth_cross: CircleErrors = field(default_factory=CircleErrors)
    azimuth_track: CircleErrors = field(default_factory=CircleErrors)
    steer: CircleErrors = field(default_factory=CircleErrors)
    """Of the turn plate that the head reads."""
    noise: Noise | None = None

    def read(self, true: F64, random: np.random.Generator) -> F64:
        """Return what the sensors read, shape (8, n), for true channels, shape (8, n).

        The noise is drawn sample by sample, so that it does not depend on how a stream is
        cut into blocks.
        """
        raw = true.copy()
        raw[TILT_ROWS, :] = self._tilt(true)
        for channel, errors in (
            (Channel.ROTATION, self.rotation),
            (Channel.AZIMUTH_CROSS, self.azimuth_cross),
            (Channel.AZIMUTH_TRACK, self.azimuth_track),
            (Channel.STEER, self.steer),
        ):
            raw[ROW[channel]] = errors.raw(true[ROW[channel]])
        if self.noise is not None:
            draws = random.standard_normal(raw.shape[::-1]).T
            raw = raw + self.noise.per_channel()[:, None] * draws
        return raw

    def _tilt(self, true: F64) -> F64:
        sines = np.sin(true[TILT_ROWS, :])
        absent = np.isnan(sines)
        # A two-axis sensor has nothing to do with the axis that it lacks: 0, not NaN, times it.
        raw = self.tilt.raw(np.where(absent, 0.0, sines), true[ROW[Channel.TEMPERATURE]])
        raw[absent] = np.nan
        return np.arcsin(np.clip(raw, -1.0, 1.0))
