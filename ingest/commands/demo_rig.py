"""The demo's rig: an invented vehicle, four heads on ptys, and what their calibration found."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from calibration.records.parts import ChannelFigures, EncoderPart, Harmonic, Port, TiltPart
from calibration.records.text import dump_record, seal
from calibration.records.version1 import CalibrationRecord1
from ingest.core.units import DEG
from ingest.simulator.draws import draw_calibration, draw_head
from ingest.simulator.faults import MILD, FaultInjector
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.head import Head
from ingest.simulator.known import KnownCircle, KnownHead, KnownTilt, Uncertainties
from ingest.simulator.ptyhead import PtyHead
from ingest.simulator.rig import Rig
from ingest.simulator.sensors import HARMONICS
from ingest.simulator.streams import stream
from ingest.simulator.technician import Pace, Technician
from ingest.simulator.vehicle import Vehicle

HEADS = ("alder", "birch", "cedar", "dogwood")
SETTLE_DEG = 0.02
"""Scatter of camber and toe of a simulated wheel each time it is let down: what the service
assumes of a bay that nobody has studied."""

SEAT_M = 0.001
"""How far in or out a clamp sits on its wheel, from mounting to mounting, likewise."""

DRIFT_PPM = 50.0
RESOLUTION_DEG = 1e-4


@dataclass(slots=True)
class DemoRig:
    """Everything simulated."""

    rig: Rig
    heads: dict[str, Head]
    ptys: dict[str, PtyHead]
    technician: Technician
    records: list[str]
    seed: int
    now_s: Callable[[], float]
    """The rig's own time."""
    vehicle_name: str


def wall_clock() -> Callable[[], float]:
    """Return a clock that starts at 0 s now."""
    started_s = time.monotonic()
    return lambda: time.monotonic() - started_s


def build(
    seed: int,
    vehicle_name: str,
    clock: Callable[[], float],
    rate_hz: float = 100.0,
    vehicle: Vehicle | None = None,
    *,
    heads: dict[str, Head] | None = None,
    pace: Pace | None = None,
) -> DemoRig:
    """Draw a rig from a seed: vehicle, clamps, sensor errors, clocks, noise and faults.

    ``vehicle``, ``heads``: drawn already, in place of those of that name and seed. ``pace``: how
    fast the technician works.
    """
    heads = draw_heads(seed) if heads is None else heads
    rig = Rig(vehicle or VEHICLES[vehicle_name](seed), tuple(heads.values()))
    ptys = {}
    for name, head in heads.items():
        random = stream(seed, "firmware", name)
        clockwork = Clockwork(
            float(random.uniform(-DRIFT_PPM, DRIFT_PPM)), int(random.integers(1 << 32))
        )
        faults = FaultInjector(MILD, stream(seed, "faults", name))
        firmware = Firmware(
            rig, head, random=random, clockwork=clockwork, faults=faults, rate_hz=rate_hz
        )
        ptys[name] = PtyHead(firmware, clock)
    records = [
        dump_record(record_of(number, draw_calibration(seed, name, head)))
        for number, (name, head) in enumerate(heads.items(), start=1)
    ]
    technician = Technician(
        rig,
        stream(seed, "technician"),
        clock,
        pace,
        settle_sigma_rad=SETTLE_DEG * DEG,
        seat=(stream(seed, "seats"), SEAT_M),
    )
    return DemoRig(rig, heads, ptys, technician, records, seed, clock, vehicle_name)


def draw_heads(seed: int) -> dict[str, Head]:
    """Draw the heads, by their names."""
    return {name: draw_head(seed, name) for name in HEADS}


def record_of(number: int, known: KnownHead) -> CalibrationRecord1:
    """Return what a calibration found as a sealed record."""
    today, u = date.today(), known.uncertainties
    noise = {"incl_x": 0.003, "incl_y": 0.003, "rotation": 0.01}
    noise |= {"azimuth_cross": 0.005, "azimuth_track": 0.005}
    return seal(
        CalibrationRecord1(
            record_id=f"cal-{today.year}-{number:04d}",
            head_id=known.head,
            issued=today - timedelta(days=30),
            due=today + timedelta(days=335),
            tilt=_tilt_part(known.tilt, u),
            encoders={
                "rotation": _encoder_part(known.rotation, u.encoder_zero_deg, u.harmonic_deg),
                "azimuth_cross": _encoder_part(
                    known.azimuth_cross, u.azimuth_zero_deg, u.azimuth_harmonic_deg
                ),
                "azimuth_track": _encoder_part(
                    known.azimuth_track, u.azimuth_zero_deg, u.azimuth_harmonic_deg
                ),
            },
            ports={
                name: Port(
                    forward_m=port.forward_m,
                    outward_m=port.outward_m,
                    u_forward_m=u.port_m,
                    u_outward_m=u.port_m,
                )
                for name, port in (
                    ("azimuth_cross", known.cross_port),
                    ("azimuth_track", known.track_port),
                )
            },
            stub_m=0.25,
            u_stub_m=u.stub_m,
            channels={
                name: ChannelFigures(noise_deg=noise_deg, resolution_deg=RESOLUTION_DEG)
                for name, noise_deg in noise.items()
            },
        )
    )


def _tilt_part(tilt: KnownTilt, u: Uncertainties) -> TiltPart:
    """Return the two-axis part: a two-axis sensor has nothing to do with the up axis."""
    spread = np.full((2, 2), u.cross_deg * DEG)
    np.fill_diagonal(spread, u.scale)
    return TiltPart(
        reference_temperature_degc=tilt.reference_degc,
        bias_deg=tilt.bias_deg[:2],
        u_bias_deg=(u.bias_deg, u.bias_deg),
        matrix=tuple(row[:2] for row in tilt.matrix[:2]),
        u_matrix=tuple((float(a), float(b)) for a, b in spread),
        bias_deg_per_degc=tilt.bias_deg_per_degc[:2],
        u_bias_deg_per_degc=(u.bias_deg_per_degc, u.bias_deg_per_degc),
        scale_per_degc=(tilt.matrix_per_degc, tilt.matrix_per_degc),
        u_scale_per_degc=(u.scale_per_degc, u.scale_per_degc),
    )


def _encoder_part(circle: KnownCircle, u_zero_deg: float, u_harmonic_deg: float) -> EncoderPart:
    harmonics = tuple(
        Harmonic(order=order, cos_deg=cos, sin_deg=sin, u_deg=u_harmonic_deg)
        for order, cos, sin in zip(HARMONICS, circle.cos_deg, circle.sin_deg, strict=True)
    )
    return EncoderPart(zero_deg=circle.zero_deg, u_zero_deg=u_zero_deg, harmonics=harmonics)
