"""Tracks and swings: smooth, exact at their ends, and the same however they are asked."""

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid, solve_ivp

from ingest.simulator.motion import Track
from ingest.simulator.swing import Pendulum, Swing


def moved() -> Track:
    track = Track(1.0)
    track.move(2.0, 3.0, 1.0)
    track.move(4.0, -1.0, 2.0, ramp=0.1)
    return track


def test_a_track_rests_before_between_and_after_its_moves() -> None:
    track = moved()
    for at_s, value in ((0.0, 1.0), (2.0, 1.0), (3.0, 3.0), (3.9, 3.0), (6.0, -1.0), (99.0, -1.0)):
        assert track.at(np.array([at_s]))[0] == pytest.approx(value, abs=1e-12)
    assert track.last == -1.0
    assert track.end_s == 6.0


def test_the_rate_of_a_track_integrates_to_its_way() -> None:
    track, t_s = moved(), np.linspace(1.0, 7.0, 60001)
    way = cumulative_trapezoid(track.rate(t_s), t_s, initial=0.0)
    assert 1.0 + way == pytest.approx(track.at(t_s), abs=1e-6)


def test_a_track_does_not_depend_on_how_its_times_are_cut() -> None:
    track, t_s = moved(), np.arange(1.0, 7.0, 0.01)
    whole = track.at(t_s)
    singly = np.concatenate([track.at(t_s[i : i + 1]) for i in range(t_s.size)])
    assert np.array_equal(whole, singly)
    assert np.array_equal(track.rate(t_s)[50:60], track.rate(t_s[50:60]) + np.zeros(10))


def test_a_cruising_move_keeps_an_even_speed_in_its_middle() -> None:
    speeds = moved().rate(np.linspace(4.21, 5.79, 50))
    assert np.ptp(speeds) < 1e-12
    assert speeds[0] == pytest.approx(-4.0 / 2.0 / 0.9)


@pytest.mark.parametrize(
    ("at_s", "duration_s", "ramp"), [(5.0, 1, 0.5), (7.0, 0, 0.5), (7.0, 1, 0)]
)
def test_refuses_moves_that_overlap_or_take_no_time(
    at_s: float, duration_s: float, ramp: float
) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        moved().move(at_s, 0.0, duration_s, ramp)


def test_a_knocked_head_swings_as_a_damped_pendulum() -> None:
    hanging = Pendulum(hang_rad=0.01, swing_hz=1.5, decay_s=0.25)
    swing = Swing(hanging)
    swing.knock(1.0, 0.02)
    t_s = np.linspace(1.0, 3.0, 400)
    omega, damping = 2.0 * np.pi * 1.5, 1.0 / 0.25
    solved = solve_ivp(
        lambda _, y: [y[1], -2.0 * damping * y[1] - (omega**2 + damping**2) * y[0]],
        (1.0, 3.0),
        [0.0, 0.02 * omega],
        t_eval=t_s,
        rtol=1e-10,
        atol=1e-14,
    )
    assert swing.at(t_s, np.zeros(1)) == pytest.approx(0.01 + solved.y[0], abs=1e-9)
    assert swing.at(np.array([0.5]), np.zeros(1))[0] == 0.01, "nothing swings before the knock"


def test_a_turning_wheel_drags_its_head_along() -> None:
    swing = Swing(Pendulum(hang_rad=0.0, drag_s=0.005))
    assert swing.at(np.array([0.0]), np.array([2.0]))[0] == pytest.approx(0.01)
