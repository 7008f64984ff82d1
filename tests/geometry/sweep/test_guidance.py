"""The guided sweep, fed with what a technician does: readings from the exact knuckle."""

import itertools
import math

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.core.units import NS
from ingest.geometry.sweep.guidance import SweepGuide
from ingest.geometry.sweep.guided import Need, SweepAsked, SweepReading, Trouble
from ingest.geometry.sweep.readings import SweepNoise

NOISE = SweepNoise(math.radians(0.005), math.radians(0.02))
RATE_HZ = 10


def steered(*stops, speed=3.0):
    """Steering at ten readings a second from stop to stop, deg."""
    path = [np.array([float(stops[0])])]
    for start, end in itertools.pairwise(stops):
        n = max(round(abs(end - start) / speed * RATE_HZ), 1)
        path.append(np.linspace(start, end, n + 1)[1:])
    return np.concatenate(path)


def readings(knuckle, path, start_ns=0, rolled=0.0, noise_seed=None):
    """Readings of a locked head; ``rolled`` deg the wheel rolls a deg of steering."""
    sweep = knuckle(sai_deg=7.0).sweep(path)
    rng = np.random.default_rng(noise_seed)
    size = 0.0 if noise_seed is None else NOISE.tilt_rad
    tilt = size * rng.standard_normal((2, len(path)))
    for i in range(len(path)):
        yield SweepReading(
            start_ns + i * NS // RATE_HZ,
            float(sweep.steer_rad[i]),
            float(sweep.incl_y_rad[i] + tilt[0, i]),
            float(sweep.incl_x_rad[i] + tilt[1, i] + rolled * sweep.steer_rad[i]),
        )


def guided(items, **options):
    guide = SweepGuide(SweepAsked(Side.LEFT, noise=NOISE, **options))
    return guide, [guide.feed(item) for item in items]


def test_asks_for_left_then_right_then_straight_ahead(knuckle):
    path = steered(0, 20, -20, 0)
    _, states = guided(readings(knuckle, path, noise_seed=1))
    assert states[0].needed == (Need.LEFT, Need.RIGHT, Need.STRAIGHT, Need.MORE)
    at_left = states[len(steered(0, 20)) - 1]
    assert Need.LEFT not in at_left.needed
    assert Need.RIGHT in at_left.needed
    last = states[-1]
    assert last.done
    assert last.u_caster_rad < math.radians(0.01)
    assert math.degrees(last.found.caster_rad) == pytest.approx(4.0, abs=0.03)
    assert last.found.closure is not None
    assert not any(state.done for state in states[:-3])


def test_the_uncertainty_falls_as_the_sweep_goes_on(knuckle):
    _, states = guided(readings(knuckle, steered(0, 20, -20, 0), noise_seed=2))
    known = [state.u_caster_rad for state in states if state.u_caster_rad is not None]
    assert known[-1] < 0.1 * known[0]


def test_too_fast_is_said_and_not_counted(knuckle):
    _, states = guided(readings(knuckle, steered(0, 20, speed=12.0)))
    assert all(Trouble.TOO_FAST in state.troubles for state in states[2:])
    assert states[-1].kept <= 2
    assert Need.LEFT in states[-1].needed


def test_noise_of_the_steering_is_no_speed(knuckle):
    # 0.02 deg of noise ten times a second, at rest: 0.3 deg/s, far below the limit.
    still = np.full(40, 5.0) + 0.02 * np.random.default_rng(3).standard_normal(40)
    _, states = guided(readings(knuckle, still))
    assert not any(state.troubles for state in states)


def test_turning_back_too_early_is_said_until_it_is_made_good(knuckle):
    path = steered(0, 14, 5, 20)
    _, states = guided(readings(knuckle, path))
    back = states[len(steered(0, 14, 5)) - 1]
    assert Trouble.TURNED_BACK in back.troubles
    assert math.degrees(back.left_rad) == pytest.approx(14.0, abs=0.3)
    assert Trouble.TURNED_BACK not in states[-1].troubles


def test_a_wheel_that_rolls_is_said(knuckle):
    # Brake off, 60 mm of scrub radius on a 0.5 m tyre: 0.12 deg of rolling a deg of steering.
    _, states = guided(readings(knuckle, steered(0, 20, -20, 0), rolled=0.12, noise_seed=4))
    assert Trouble.NOT_HELD in states[-1].troubles
    assert not states[-1].done
    first = next(i for i, s in enumerate(states) if Trouble.NOT_HELD in s.troubles)
    assert first < len(steered(0, 20, -20))


def test_a_head_that_swings_while_it_should_be_locked_is_said(knuckle):
    items = [
        SweepReading(r.time_ns, r.steer_rad, r.incl_y_rad, 0.004)
        for r in readings(knuckle, steered(0, 20, -20, 0), noise_seed=8)
    ]
    _, states = guided(items)
    assert states[-1].troubles == (Trouble.NOT_HELD,)


def test_a_lost_sightline_is_said_and_found_again(knuckle):
    items = list(readings(knuckle, steered(0, 20, -20, 0), noise_seed=5))
    for i in range(30, 45):
        items[i] = SweepReading(items[i].time_ns, None, items[i].incl_y_rad, items[i].incl_x_rad)
    guide, states = guided(items)
    assert all(Trouble.SIGHTLINE_LOST in state.troubles for state in states[30:45])
    assert states[30].steer_rad is None
    assert not any(Trouble.SIGHTLINE_LOST in state.troubles for state in states[45:])
    assert states[-1].done
    assert len(guide.sweep()) == states[-1].kept


def test_a_reading_that_is_no_number_counts_as_unseen(knuckle):
    guide, _ = guided(readings(knuckle, steered(0, 4)))
    for bad in (
        SweepReading(NS, math.nan, 0.0, 0.0),
        SweepReading(NS, 0.0, math.inf, 0.0),
        SweepReading(NS, 0.0, 0.0, math.nan),
    ):
        assert Trouble.SIGHTLINE_LOST in guide.feed(bad).troubles


def test_a_hanging_head_is_guided_to_its_caster(knuckle):
    items = [
        SweepReading(r.time_ns, r.steer_rad, r.incl_y_rad)
        for r in readings(knuckle, steered(0, 20, -20, 0), noise_seed=6)
    ]
    _, states = guided(items)
    assert states[-1].done
    assert states[-1].found.sai_rad is None


def test_a_long_hesitating_sweep_keeps_a_bounded_number_of_readings(knuckle):
    path = steered(*([0, 20, -20] * 6), 0)
    guide, states = guided(readings(knuckle, path, noise_seed=7), most_rows=64)
    assert max(state.kept for state in states) <= 64
    assert math.degrees(states[-1].found.caster_rad) == pytest.approx(4.0, abs=0.05)
    guide.reset()
    assert guide.sweep() is None
