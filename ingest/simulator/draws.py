"""Heads as they come out of a drawer: each with its own errors, all from one seed."""

import numpy as np

from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.simulator.head import Head, HeadDesign
from ingest.simulator.known import KnownHead, calibrated
from ingest.simulator.sensors import CircleErrors, Noise, Sensors, TiltErrors, Warming
from ingest.simulator.streams import stream
from ingest.simulator.swing import draw_pendulum

BIAS_DEG = 0.5
SCALE = 0.01
CROSS_DEG = 1.0
THREE_AXIS_GAIN = (1.015, 1.025)
"""A three-axis sensor reads less than full scale when it stands upright, or its bias would
push the sine beyond one; its correction therefore multiplies by a little more than one."""

ENCODER_ZERO_DEG = 1.0
ENCODER_HARMONICS_DEG = (0.3, 0.15, 0.05)
AZIMUTH_ZERO_DEG = 0.3
AZIMUTH_HARMONICS_DEG = (0.02, 0.01, 0.0)
PLATE_ZERO_DEG = 1.0
PLATE_HARMONICS_DEG = (0.3, 0.1)
"""Of turn plates (1 sigma): what a service has to take an encoder for that nobody centred."""


def draw_head(seed: int, name: str, *, fixed: bool = False, three_axis: bool = False) -> Head:
    """Draw a head of that name: identity, sensor errors, how it hangs, how it warms up."""
    random = stream(seed, "head", name)
    identity = HeadId(random.bytes(7).hex() + "01")
    sensors = Sensors(
        tilt=_tilt(random, three_axis=three_axis or fixed),
        rotation=_circle(random, ENCODER_ZERO_DEG, ENCODER_HARMONICS_DEG),
        azimuth_cross=_circle(random, AZIMUTH_ZERO_DEG, AZIMUTH_HARMONICS_DEG),
        azimuth_track=_circle(random, AZIMUTH_ZERO_DEG, AZIMUTH_HARMONICS_DEG),
        steer=_plate(stream(seed, "plate", name)),
        noise=Noise(),
    )
    warming = Warming(
        start_degc=random.uniform(12.0, 24.0),
        rise_degc=random.uniform(1.0, 6.0),
        breath_degc=random.uniform(0.0, 0.3),
    )
    design = HeadDesign(identity, three_axis=three_axis or fixed, fixed=fixed)
    return Head(design, sensors, warming, draw_pendulum(random))


def draw_calibration(seed: int, name: str, head: Head) -> KnownHead:
    """Draw what the calibration of that head found."""
    return calibrated(head.design, head.sensors, stream(seed, "calibration", name))


def _tilt(random: np.random.Generator, *, three_axis: bool) -> TiltErrors:
    """Draw tilt errors; a two-axis sensor has nothing to do with the up axis."""
    matrix = random.uniform(-CROSS_DEG, CROSS_DEG, (3, 3)) * DEG
    gain = random.uniform(*THREE_AXIS_GAIN, 3) if three_axis else _near_one(random)
    np.fill_diagonal(matrix, gain)
    bias = random.uniform(-BIAS_DEG, BIAS_DEG, 3) * DEG
    bias_per_degc = random.uniform(-0.001, 0.001, 3) * DEG
    if not three_axis:
        matrix[2], matrix[:, 2] = (0.0, 0.0, 1.0), (0.0, 0.0, 1.0)
        bias[2] = bias_per_degc[2] = 0.0
    return TiltErrors(matrix, bias, random.uniform(-5e-5, 5e-5), bias_per_degc, 20.0)


def _plate(random: np.random.Generator) -> CircleErrors:
    """Draw what is wrong with a turn plate that nobody calibrates."""
    first, second = random.normal(0.0, PLATE_HARMONICS_DEG, (2, 2)).T * DEG
    return CircleErrors(
        zero_rad=random.uniform(-PLATE_ZERO_DEG, PLATE_ZERO_DEG) * DEG,
        cos_rad=(float(first[0]), float(second[0]), 0.0),
        sin_rad=(float(first[1]), float(second[1]), 0.0),
    )


def _near_one(random: np.random.Generator) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return 1.0 + random.uniform(-SCALE, SCALE, 3)


def _circle(
    random: np.random.Generator, zero_deg: float, harmonics_deg: tuple[float, float, float]
) -> CircleErrors:
    size = random.uniform(0.2, 1.0, 3) * np.array(harmonics_deg) * DEG
    phase = random.uniform(-np.pi, np.pi, 3)
    cos, sin = size * np.cos(phase), size * np.sin(phase)
    return CircleErrors(
        zero_rad=random.uniform(-zero_deg, zero_deg) * DEG,
        cos_rad=(float(cos[0]), float(cos[1]), float(cos[2])),
        sin_rad=(float(sin[0]), float(sin[1]), float(sin[2])),
    )
