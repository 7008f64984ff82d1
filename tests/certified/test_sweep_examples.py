"""Caster, SAI and Ackermann angles against numbers from outside.

The sweep table was worked out with rotation matrices apart from this program (a left wheel,
+-delta the yaw of the wheel plane, left positive; camber and the pitch of a line level at 0),
printed to six decimals; its right wheel is the mirror image. The usual two-point forms are those
of workshop handbooks: caster = (difference of camber) / (2 sin delta).
cot outer - cot inner = kingpin spacing / wheelbase: the examples of automobile-engineering
textbooks (2.7 m and 1.2 m, 40 deg inner), worked out again.
"""

import math

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.geometry.sweep.fit import fit_sweep
from ingest.geometry.sweep.linear import solve_linear
from ingest.geometry.sweep.motion import heading_change
from ingest.geometry.sweep.readings import Sweep
from ingest.geometry.sweep.turning import rolling_outer

# caster, SAI, camber, delta; camber at +delta and -delta; pitch at +delta and -delta
TABLE = [
    ((4.0, 6.0, 0.5, 20.0), (2.237081, -0.507102), (1.820717, -2.300773), (4.01173, 6.02522)),
    ((4.0, 6.0, 0.5, 10.0), (1.288408, -0.104460), (0.986182, -1.106959), (4.01060, 6.02696)),
    ((4.0, 8.0, 0.0, 15.0), (1.313226, -0.761826), (1.949780, -2.217988), (4.00869, 8.05151)),
    ((2.5, 0.0, 0.0, 20.0), (0.855530, -0.855530), (-0.150839, -0.150839), (2.50140, 0.0)),
]
PRINTED_DEG = 2e-6
"""Half a unit of the sixth decimal in each of four readings, over 2 sin 10 deg."""


def row_of(entry, side=Side.LEFT, locked=True):
    (_, _, camber, delta), cambers, pitches, _ = entry
    steer = np.radians([delta, 0.0, -delta]) * side.sign
    incl_y = np.radians([cambers[0], camber, cambers[1]]) * -side.sign
    incl_x = np.radians([pitches[0], 0.0, pitches[1]])
    return Sweep(side, steer, incl_y, incl_x if locked else None)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("entry", TABLE)
def test_the_table_gives_its_axis_back(entry, side):
    (caster, sai, camber, _), *_ = entry
    found = fit_sweep(row_of(entry, side))
    assert math.degrees(found.caster_rad) == pytest.approx(caster, abs=PRINTED_DEG)
    assert math.degrees(found.sai_rad) == pytest.approx(sai, abs=PRINTED_DEG)
    assert math.degrees(found.camber_rad) == pytest.approx(camber, abs=PRINTED_DEG)
    assert math.degrees(found.included_rad) == pytest.approx(sai + camber, abs=2 * PRINTED_DEG)


@pytest.mark.parametrize("entry", TABLE)
def test_three_positions_without_the_pitch_give_it_too(entry):
    # SAI stands in cos(delta) there: the last printed digit counts 1 / (2 (1 - cos 10)) = 33 times.
    (caster, sai, *_), *_ = entry
    row = solve_linear(row_of(entry, locked=False))
    assert math.degrees(math.atan(row[0])) == pytest.approx(caster, abs=PRINTED_DEG)
    assert math.degrees(math.atan(row[1])) == pytest.approx(sai, abs=1e-4)


@pytest.mark.parametrize("entry", TABLE)
def test_the_usual_two_point_form_is_near(entry):
    (*_, delta), cambers, pitches, usual = entry
    found = fit_sweep(row_of(entry))
    reach = 2.0 * math.sin(math.radians(delta))
    assert (cambers[0] - cambers[1]) / reach == pytest.approx(usual[0], abs=1e-5)
    assert (pitches[0] - pitches[1]) / reach == pytest.approx(usual[1], abs=1e-5)
    assert math.degrees(found.caster_rad) == pytest.approx(usual[0], abs=0.06)
    assert math.degrees(found.sai_rad) == pytest.approx(usual[1], abs=0.06)


def test_the_knuckle_turns_by_more_than_the_wheel_plane():
    # First row: turned about the axis by +20.199346 and -20.155352 deg for a yaw of +-20.
    k_z = 1.0 / math.sqrt(1.0 + sum(math.tan(math.radians(a)) ** 2 for a in (4.0, 6.0)))
    sweep = row_of(TABLE[0])
    row = solve_linear(sweep)
    yaw = heading_change(sweep, row, np.radians([20.199346, -20.155352]) * k_z)
    assert np.degrees(yaw) == pytest.approx([20.0, -20.0], abs=2e-6)


@pytest.mark.parametrize(
    ("spacing_m", "wheelbase_m", "inner", "outer"),
    [(1.2, 2.7, 40.0, 31.432146), (2.0, 5.0, 20.0, 17.625820)],
)
def test_the_outer_wheel_of_a_turn_that_scrubs_nothing(spacing_m, wheelbase_m, inner, outer):
    found = rolling_outer(math.radians(inner), spacing_m, wheelbase_m)
    assert math.degrees(found) == pytest.approx(outer, abs=5e-7)
