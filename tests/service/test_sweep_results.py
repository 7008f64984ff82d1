"""What a sweep is worth with perfect heads and plates: exact, against the simulator's geometry.

The simulator turns knuckles about their axes by Rodrigues' formula, rolls the beam, and shares no
code with what is tested.
"""

import itertools

import numpy as np
import pytest

from calibration.measured import Measured
from calibration.sensors import Correction
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.core.units import DEG
from ingest.geometry.sweep.guided import SweepReading
from ingest.service.instrument import Instrument
from ingest.service.sweepfit import SweepSettings, fit_swept
from ingest.service.sweptwheel import SweptWheel
from ingest.simulator.fleet import rigid_8x4
from ingest.simulator.technician import Technician
from ingest.simulator.truth import steering_truth, wheel_truth
from ingest.simulator.vehicle import WheelAt

PLATE_SHAPES = {
    "cos 1": np.cos,
    "sin 1": np.sin,
    "cos 2": lambda at: np.cos(2.0 * at),
    "sin 2": lambda at: np.sin(2.0 * at),
}
PLATE_U_DEG = {"cos 1": 0.3, "sin 1": 0.3, "cos 2": 0.1, "sin 2": 0.1}


class Bay:
    """A rig with a vehicle alone, steered out and back; its time."""

    def __init__(self, seed):
        self.vehicle, self.now_s = rigid_8x4(seed), 0.0
        technician = Technician(self, np.random.default_rng(seed), lambda: self.now_s)
        for step in technician.sweep(1, 20.4 * DEG):
            self.now_s += step.wait_s

    def swept(self, side, *, locked=True, noise_deg=0.0, off_deg=(0.0, np.sin)):
        """Return a wheel read by a perfect head, locked to its knuckle, ten times a second."""
        wheel, t_s = WheelAt(1, side), np.arange(0.0, self.now_s, 0.1)
        pose = self.vehicle.wheel_pose(wheel, t_s)
        plate = np.broadcast_to(self.vehicle.plate_turn(wheel, t_s), t_s.shape)
        plate = plate + off_deg[0] * DEG * (off_deg[1](plate) - off_deg[1](0.0))
        lean, tilt = (np.arcsin(axis[:, 2]) for axis in (pose.left, pose.forward))
        noise = np.random.default_rng(7).normal(0.0, noise_deg * DEG, (2, t_s.size))
        lean, tilt = lean + noise[0], tilt + noise[1]
        t_ns = np.round(t_s * 1e9).astype(np.int64)
        rows = tuple(
            SweepReading(int(t), float(a), float(y), float(x) if locked else None)
            for t, a, y, x in zip(t_ns, plate, lean, tilt, strict=True)
        )
        true = wheel_truth(self.vehicle, wheel, 0.0)
        return SweptWheel(
            side,
            Instrument(HeadId("00" * 8), Correction.nominal(f"perfect {side.value}")),
            rows[::4],
            t_ns,
            plate,
            Measured.exact(true.toe_rad),
            Measured.exact(true.camber_rad),
            20.0,
        )

    def turned(self, side, to):
        """Return how far a wheel truly turned to a side, seen from above."""
        wheel, t_s = WheelAt(1, side), np.arange(0.0, self.now_s, 0.1)
        left = self.vehicle.wheel_pose(wheel, t_s).left
        heading = np.unwrap(np.arctan2(left[:, 1], left[:, 0]))
        return float((to.sign * (heading - heading[0])).max())


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_perfect_readings_give_the_axes_exactly(seed):
    bay = Bay(seed)
    found = fit_swept({side: bay.swept(side) for side in Side}, SweepSettings())
    for side, each in found.sides.items():
        true = steering_truth(bay.vehicle, WheelAt(1, side))
        assert each.caster.value == pytest.approx(true.caster_rad, abs=2e-3 * DEG)
        assert each.sai.value == pytest.approx(true.sai_rad, abs=2e-3 * DEG)
        for to in Side:
            assert each.turned[to].value == pytest.approx(bay.turned(side, to), abs=0.01 * DEG)
    for inner, toe_out in found.toe_out.items():
        outer, most = bay.turned(inner.other, inner), bay.turned(inner, inner)
        # Straight from here to the end of the turn: 0.4 deg on, a curve leaves it by less.
        known = 20.0 * DEG - outer * 20.0 * DEG / most
        assert toe_out.value == pytest.approx(known, abs=0.05 * DEG)


def test_a_beam_that_rolls_and_is_not_asked_about_takes_from_the_caster():
    bay = Bay(1)
    wheels = {side: bay.swept(side) for side in Side}
    found = fit_swept(wheels, SweepSettings(axle_roll=False))
    true = steering_truth(bay.vehicle, WheelAt(1, Side.LEFT))
    # model: some tenths of a degree too little on both sides, by the size of the roll.
    assert true.caster_rad - found.sides[Side.LEFT].caster.value > 0.15 * DEG


def test_plate_straight_ahead_calibration_and_play_are_all_carried_in():
    bay = Bay(2)
    wheels = {side: bay.swept(side, noise_deg=0.004) for side in Side}
    with_play = fit_swept(wheels, SweepSettings(play_deg=0.03)).sides[Side.LEFT]
    without = fit_swept(wheels, SweepSettings(play_deg=0.0)).sides[Side.LEFT]
    for one, other in ((with_play.caster, without.caster), (with_play.sai, without.sai)):
        assert one.u**2 - other.u**2 == pytest.approx((0.03 * DEG) ** 2, rel=1e-6)
        assert "assumed play of the kingpins" in one.stands_on - other.stands_on
    # A plate whose disc sits off centre by its standard uncertainty moves them by what they say,
    # those of the other wheel, too: the axle's roll joins both.
    before = fit_swept(wheels, SweepSettings(play_deg=0.0)).sides
    for part, wave in (("sin", np.sin), ("cos", np.cos)):
        off = wheels | {Side.LEFT: bay.swept(Side.LEFT, noise_deg=0.004, off_deg=(0.3, wave))}
        moved = fit_swept(off, SweepSettings(play_deg=0.0)).sides
        for side, name in itertools.product(Side, ("caster", "sai")):
            one, other = getattr(moved[side], name), getattr(before[side], name)
            (told,) = (
                p for p in other.parts if p.source.name.endswith(f"perfect left: steer {part} 1")
            )
            is_off = one.value - other.value
            assert abs(is_off) == pytest.approx(abs(told.components[0]), rel=0.1, abs=2e-4 * DEG)
    # An uncalibrated head's cross-axis, common to all its readings, shows in both.
    named = {part.source.name for part in without.sai.parts}
    assert any("default uncertainty of head perfect" in name for name in named)


def test_a_hanging_head_gives_no_sai_and_an_empty_sweep_nothing():
    bay = Bay(3)
    wheels = {side: bay.swept(side, locked=False) for side in Side}
    found = fit_swept(wheels, SweepSettings(axle_roll=False)).sides[Side.LEFT]
    assert found.sai is None
    assert found.caster.u > 0.0
    none = np.zeros(0)
    empty = SweptWheel(
        Side.LEFT,
        wheels[Side.LEFT].instrument,
        (),
        none.astype(np.int64),
        none,
        wheels[Side.LEFT].toe,
        wheels[Side.LEFT].camber,
        20.0,
    )
    with pytest.raises(MeasurementRefused, match="no reading of the left"):
        fit_swept(wheels | {Side.LEFT: empty}, SweepSettings())


@pytest.mark.parametrize(("locked", "noise_deg"), [(True, 0.02), (False, 0.0)])
def test_what_a_plate_may_be_off_by_moves_caster_as_a_fit_to_such_readings_does(locked, noise_deg):
    """Each wheel's harmonics in turn, against the fit itself: a hanging head tells no SAI, and its
    tilt follows it all the same."""
    bay = Bay(4)
    wheels = {side: bay.swept(side, locked=locked, noise_deg=noise_deg) for side in Side}
    found = fit_swept(wheels, SweepSettings())
    seen = 0
    for wrong, (name, shape) in itertools.product(Side, PLATE_SHAPES.items()):
        source = f"default uncertainty of head perfect {wrong.value}: steer {name}"
        for side, each in found.sides.items():
            parts = {part.source.name: part.components for part in each.caster.parts}
            (told,) = parts[source]
            off = bay.swept(
                wrong, locked=locked, noise_deg=noise_deg, off_deg=(PLATE_U_DEG[name], shape)
            )
            again = fit_swept({**wheels, wrong: off}, SweepSettings()).sides[side]
            moved = again.caster.value - each.caster.value
            assert abs(moved) == pytest.approx(abs(told), rel=0.1, abs=2e-3 * DEG)
            seen += abs(moved) > 6e-3 * DEG
    assert seen > 3
