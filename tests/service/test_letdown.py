"""A clamp that slips between the turn on a jack and the first rest on the ground is said.

Whole jobs in simulated time; vehicle, jack, settling and slip are the simulator's, which shares no
geometry with what is tested. A beam keeps its two wheels as they are to each other, however its
jack rolls it (common practice: camber of a beam axle is a matter of the beam alone).
"""

from dataclasses import replace

import numpy as np
import pytest

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.course.events import Disturbed
from ingest.job.course.tasks import Doing, Task
from ingest.service.headseen import HeadSeen
from ingest.service.letdown import GIVES_RAD, TIMES_U
from ingest.service.watching import Watching
from ingest.simulator.practice import Trouble
from ingest.simulator.vehicle import WheelAt
from tests.job.vehicles import vehicle
from tools.rehearsal.hands import JobOnABay

FIND = Task("2-find", Doing.FIND, 1, (2,), ("axle/2/left/camber",))
U_RAD = 0.01 * DEG


def resting(side: str, gained_deg: float) -> HeadSeen:
    """Return a head at rest on axle 2, whose camber gained so much since the turn."""
    gained = Measured.of(gained_deg * DEG, U_RAD, source=f"noise {side}")
    name, mounting = {"left": ("alder", 1), "right": ("birch", 2)}[side]
    return HeadSeen(
        name,
        2,
        side,
        mounting,
        0,
        online=True,
        why="",
        compensated=True,
        turns=False,
        lean_rad=0.0,
        sights_rad={},
        hidden=frozenset(),
        partners={},
        gained=gained,
    )


def said(left: HeadSeen, right: HeadSeen, task: Task = FIND, beams: tuple[int, ...] = (1, 2)):
    """Return the sides whose wheels a look at both heads would have turned again."""
    found = Watching().look(task, [left, right], turning=True, beams=beams)
    assert all(each.knocked and each.lacks == "run-out" for each in found)
    return [each.side for each in found]


def test_what_a_jack_rolls_is_no_slip() -> None:
    assert said(resting("left", 0.9), resting("right", -0.9)) == []


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_limit_is_that_of_both_together(sign: float) -> None:
    """Two independent standard uncertainties of U_RAD add in quadrature (GUM 5.1.2)."""
    limit_deg = (GIVES_RAD + TIMES_U * np.sqrt(2.0) * U_RAD) / DEG
    for share, sides in ((0.99, []), (1.01, ["left", "right"])):
        assert said(resting("left", sign * share * limit_deg), resting("right", 0.0)) == sides


def test_wheels_hung_by_themselves_one_head_alone_and_a_hanging_axle_alarm_nobody() -> None:
    left, right = resting("left", 0.8), resting("right", 0.0)
    assert said(left, right) == ["left", "right"]
    assert said(left, right, beams=(1,)) == []
    assert said(left, replace(right, gained=None)) == []
    assert said(replace(left, turns=True), right) == []
    assert said(left, right, replace(FIND, doing=Doing.ADJUST)) == []


def test_a_vehicle_knows_which_axles_are_beams() -> None:
    van = vehicle("rigid-4x2")
    steer, drive = van.axles
    assert van.beams == (1, 2)
    assert replace(van, axles=(replace(steer, beam=False), drive)).beams == (2,)


class LetDown(JobOnABay):
    """A job whose clamp on a wheel slips as its axle is let down, towards a place in the wheel."""

    def __init__(self, seed, wheel, slip_deg, place_rad):
        troubles = (Trouble.SKEWED_AXLES, Trouble.TOE)
        super().__init__(seed, "rigid-4x2", troubles=troubles, rate_hz=20.0, sweeps=False)
        technician, rig = self.bay.demo.technician, self.bay.demo.rig
        lower, left = technician.lower, [wheel]

        def lower_and_slip(axle):
            if left and left[0].axle == axle:
                head = self.bay.demo.heads[self.on[left.pop()]]
                now_s = self.bay.clock.now_s
                rotation = float(rig.pose(head, np.array([now_s])).rotation_rad[0])
                rig.slip(head, now_s + 0.4, slip_deg * DEG, rotation + place_rad)
            return lower(axle)

        technician.lower = lower_and_slip
        for item in self.job.unchecked:
            self.ask("job-check", item=item, state="ok")
        self.ask("job-begin")

    def found(self, axle):
        """Go on until an axle's results are to be found; let it rest; return what was said."""
        while not ((task := self.job.current).doing is Doing.FIND and axle in task.axles):
            self.do(task)
        self.pass_by(8.0)
        self.work.tell()
        return self.upsets()

    def upsets(self):
        return [e.what for e in self.work.events() if isinstance(e.what, Disturbed)]


@pytest.mark.parametrize(
    ("seed", "wheel", "slip_deg", "place_deg"),
    [
        (3, WheelAt(1, Side.LEFT), 0.8, 0.0),
        (4, WheelAt(2, Side.RIGHT), 0.8, 180.0),
        (5, WheelAt(2, Side.LEFT), 0.65, 20.0),
    ],
)
def test_a_slip_as_the_axle_comes_down_is_said_and_the_turn_asked_for(
    seed, wheel, slip_deg, place_deg
):
    job = LetDown(seed, wheel, slip_deg, np.radians(place_deg))
    upsets = job.found(wheel.axle)
    assert {(each.axle, each.side) for each in upsets} == {
        (wheel.axle, "left"),
        (wheel.axle, "right"),
    }
    (reason,) = {each.reason for each in upsets}
    assert reason.startswith(f"axle {wheel.axle}: cambers together changed by ")
    guidance = job.told("guidance")
    assert "turn both wheels again" in guidance["text"]
    assert "a clamp may have slipped." in guidance["text"]
    assert not guidance["ready"]
    job.compensate(wheel.axle)
    job.do(job.job.current)
    known = job.job.found[f"axle/{wheel.axle}/{wheel.side.value}/camber"]
    true_rad = job.truth()[f"axle/{wheel.axle}/{wheel.side.value}/camber"]
    assert abs(known.value - true_rad) < 4.0 * known.u
    assert job.upsets() == upsets
