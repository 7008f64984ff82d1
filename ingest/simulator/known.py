"""What a calibration found out about a head: the truth, and how far off it came out."""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.simulator.head import HeadDesign, Port
from ingest.simulator.sensors import CircleErrors, Sensors, TiltErrors

Three = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Uncertainties:
    """Standard uncertainties of the coefficients, as a bench could reach them."""

    bias_deg: float = 0.004
    scale: float = 2e-4
    cross_deg: float = 0.005
    bias_deg_per_degc: float = 2e-5
    scale_per_degc: float = 2e-6
    encoder_zero_deg: float = 0.01
    harmonic_deg: float = 0.003
    azimuth_zero_deg: float = 0.006
    azimuth_harmonic_deg: float = 0.001
    port_m: float = 0.001
    """Of each port, forward and outward."""
    stub_m: float = 0.001


@dataclass(frozen=True, slots=True)
class KnownTilt:
    """Coefficients of s_true = M(T) (s_raw - b(T)), see ``sensors``.

    ``matrix`` is M0 row by row; sines have no unit, so the bias is given as the small angle
    of that sine: b0 = ``bias_deg`` * pi / 180.
    """

    matrix: tuple[Three, Three, Three]
    bias_deg: Three
    matrix_per_degc: float
    bias_deg_per_degc: Three
    reference_degc: float


@dataclass(frozen=True, slots=True)
class KnownCircle:
    """Zero, and cosine and sine coefficients of harmonics 1, 2 and 4 of the raw angle."""

    zero_deg: float
    cos_deg: Three
    sin_deg: Three


@dataclass(frozen=True, slots=True)
class KnownHead:
    """All that a calibration of one head found; plain numbers, to make a record of."""

    head: HeadId
    tilt: KnownTilt
    rotation: KnownCircle
    azimuth_cross: KnownCircle
    azimuth_track: KnownCircle
    cross_port: Port
    track_port: Port
    uncertainties: Uncertainties


def calibrated(
    design: HeadDesign,
    sensors: Sensors,
    random: np.random.Generator,
    uncertainties: Uncertainties | None = None,
) -> KnownHead:
    """Draw what a calibration of these sensors finds: each coefficient off by its uncertainty."""
    u = Uncertainties() if uncertainties is None else uncertainties
    tilt = _tilt(sensors.tilt, random, u)
    circles = (
        _circle(sensors.rotation, random, u.encoder_zero_deg, u.harmonic_deg),
        _circle(sensors.azimuth_cross, random, u.azimuth_zero_deg, u.azimuth_harmonic_deg),
        _circle(sensors.azimuth_track, random, u.azimuth_zero_deg, u.azimuth_harmonic_deg),
    )
    stub_m = u.stub_m * float(random.standard_normal())
    ports = [_port(port, random, u.port_m, stub_m) for port in (design.cross, design.track)]
    return KnownHead(design.head, tilt, *circles, ports[0], ports[1], u)


def _port(true: Port, random: np.random.Generator, u_port_m: float, stub_m: float) -> Port:
    """Draw where a port was found; what the stub is off by, both ports are."""
    forward_m, outward_m = u_port_m * random.standard_normal(2)
    return Port(
        round(true.forward_m + float(forward_m), 5),
        round(true.outward_m + float(outward_m) + stub_m, 5),
    )


def _tilt(true: TiltErrors, random: np.random.Generator, u: Uncertainties) -> KnownTilt:
    spread = np.full((3, 3), u.cross_deg * DEG)
    np.fill_diagonal(spread, u.scale)
    matrix = true.matrix + spread * random.standard_normal((3, 3))
    bias = true.bias / DEG + u.bias_deg * random.standard_normal(3)
    drift = true.bias_per_degc / DEG + u.bias_deg_per_degc * random.standard_normal(3)
    return KnownTilt(
        matrix=(_three(matrix[0]), _three(matrix[1]), _three(matrix[2])),
        bias_deg=_three(bias),
        matrix_per_degc=true.matrix_per_degc + u.scale_per_degc * random.standard_normal(),
        bias_deg_per_degc=_three(drift),
        reference_degc=true.reference_degc,
    )


def _circle(
    true: CircleErrors, random: np.random.Generator, u_zero_deg: float, u_harmonic_deg: float
) -> KnownCircle:
    draws = random.standard_normal(7)
    return KnownCircle(
        zero_deg=true.zero_rad / DEG + u_zero_deg * float(draws[0]),
        cos_deg=_three(np.array(true.cos_rad) / DEG + u_harmonic_deg * draws[1:4]),
        sin_deg=_three(np.array(true.sin_rad) / DEG + u_harmonic_deg * draws[4:7]),
    )


def _three(values: F64) -> Three:
    return float(values[0]), float(values[1]), float(values[2])
