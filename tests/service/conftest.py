"""Makers of bays with simulated heads, and of what stands on one."""

import functools
from collections.abc import Callable

import numpy as np
import pytest

from calibration.records.parts import TiltPart
from calibration.records.text import dump_record, seal
from ingest.commands import demo_rig
from ingest.commands.demo_rig import record_of
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bayhead import Wheel
from ingest.simulator.draws import draw_calibration, draw_head
from ingest.simulator.known import Uncertainties
from ingest.simulator.vehicle import WheelAt
from tools.rehearsal.bay import SimulatedBay


@pytest.fixture
def simulated_bay() -> Callable[..., SimulatedBay]:
    """Return a maker of simulated bays."""
    return SimulatedBay


@pytest.fixture
def one_axle_measured() -> Callable[[SimulatedBay], SimulatedBay]:
    """Return what measures axle 1 of a bay: both wheels turned, settled, all results standing."""

    def measure(bay: SimulatedBay) -> SimulatedBay:
        on = {"alder": WheelAt(1, Side.LEFT), "birch": WheelAt(1, Side.RIGHT)}
        for name, wheel in on.items():
            bay.demo.technician.mount(bay.demo.heads[name], wheel)
            bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
        bay.demo.technician.jack(1)
        bay.advance(2.5)
        for name, wheel in on.items():
            assert bay.bay.work.begin(bay.head(name)).ok
            for step in bay.demo.technician.stops(wheel, 3):
                bay.advance(step.wait_s + 0.6)
                while not bay.bay.work.take_stop(bay.head(name)).ok:
                    bay.advance(0.5)
            assert bay.bay.work.end(bay.head(name)).ok
        bay.demo.technician.lower(1)
        for _ in range(30):
            bay.advance(0.5)
            if len(bay.bay.work.results.standing) == 3:
                return bay
        raise AssertionError("some result does not stand")

    return measure


def three_axis_record(seed: int, number: int, name: str) -> str:
    """Return what a bench finds out about all three axes of a head, as a sealed record."""
    known = draw_calibration(seed, name, draw_head(seed, name, fixed=True))
    two, u, tilt = record_of(number, known), Uncertainties(), known.tilt
    spread = np.full((3, 3), u.cross_deg * DEG)
    np.fill_diagonal(spread, u.scale)
    part = TiltPart(
        reference_temperature_degc=tilt.reference_degc,
        bias_deg=tilt.bias_deg,
        u_bias_deg=(u.bias_deg,) * 3,
        matrix=tilt.matrix,
        u_matrix=tuple(tuple(map(float, row)) for row in spread),
        bias_deg_per_degc=tilt.bias_deg_per_degc,
        u_bias_deg_per_degc=(u.bias_deg_per_degc,) * 3,
        scale_per_degc=(tilt.matrix_per_degc,) * 3,
        u_scale_per_degc=(u.scale_per_degc,) * 3,
    )
    return dump_record(seal(two.model_copy(update={"tilt": part, "encoders": {}, "sha256": ""})))


@pytest.fixture
def three_axes() -> Callable[[int, int, str], str]:
    """Return a maker of records of three-axis heads."""
    return three_axis_record


@pytest.fixture
def fixed_bay(simulated_bay, monkeypatch, three_axes):
    """Return a maker of bays whose heads are all fixed ones."""

    def make(seed):
        monkeypatch.setattr(demo_rig, "draw_head", functools.partial(draw_head, fixed=True))

        def with_three_axes(seed, *words):
            demo = demo_rig.build(seed, *words)
            demo.records = [three_axes(seed, n, name) for n, name in enumerate(demo.heads, start=1)]
            return demo

        monkeypatch.setitem(simulated_bay.__init__.__globals__, "build", with_three_axes)
        return simulated_bay(seed)

    return make
