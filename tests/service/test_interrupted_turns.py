"""A head that fails in the middle of a turn or a push: its result is refused or right.

All four heads turn at once and each fails in a way of its own, at a moment drawn from a seed. What
is published as good afterwards is held against the simulator's truth.
"""

import numpy as np
import pytest

from ingest.commands.demo_rig import HEADS
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.service.bayhead import Wheel
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.simulator.clamp import draw_clamping
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import no_faults
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.floor import draw_floor
from ingest.simulator.streams import stream
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt

WHEELS = tuple(WheelAt(axle, side) for axle in (1, 2) for side in Side)
TIMES_U = 3.0


class Failing:
    """A bay in which every head is on a wheel, and what can happen to one of them."""

    def __init__(self, bay, seed):
        self.bay = bay
        self.random = stream(seed, "failing")
        self.on = dict(zip(HEADS, WHEELS, strict=True))
        for name, wheel in self.on.items():
            bay.demo.technician.mount(bay.demo.heads[name], wheel)
            bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
        bay.advance(2.5)

    def link(self, name, state):
        self.bay.bay.link_changed(name, LinkChange(state, None))

    def firmware(self, name):
        return self.bay.demo.ptys[name].firmware

    def freezes(self, name):
        """Stops sending; the watchdog sees that after a while; then it goes on as if nothing."""
        self.bay.silent.add(name)
        self.bay.advance(1.2)
        self.link(name, LinkState.SILENT)
        self.bay.silent.remove(name)
        self.link(name, LinkState.OPEN)

    def stutters(self, name):
        """Stops sending for less than the watchdog's time."""
        self.bay.silent.add(name)
        self.bay.advance(0.9)
        self.bay.silent.remove(name)

    def resets(self, name):
        """Starts anew; all that it says first is lost."""
        self.firmware(name).restart(self.bay.clock())

    def is_unplugged(self, name):
        """Loses its plug, and its power with it, until somebody puts that back."""
        self.bay.silent.add(name)
        self.link(name, LinkState.ABSENT)
        self.bay.advance(0.6)
        self.bay.silent.remove(name)
        self.link(name, LinkState.OPEN)
        self.bay.give(name, b"\0" + self.firmware(name).restart(self.bay.clock()))

    def is_swapped(self, name):
        """Is taken off, and another clamped to its wheel and plugged in, and nobody says so."""
        demo, bay = self.bay.demo, self.bay
        spare = draw_head(int(self.random.integers(1 << 16)), "spare")
        demo.rig.heads = (*demo.rig.heads, spare)
        demo.technician.dismount(demo.heads[name])
        bay.advance(0.25)
        demo.rig.mount(spare, self.on[name], draw_clamping(self.random), bay.clock() + 0.2)
        demo.ptys[name].firmware = Firmware(
            demo.rig,
            spare,
            random=self.random,
            clockwork=Clockwork(10.0, int(self.random.integers(1 << 32))),
            faults=no_faults(),
        )
        bay.give(name, b"\0" + self.firmware(name).boot(bay.clock()))

    def wrong(self):
        """Return what stands as good and is not right, and how much stands as good."""
        bay, topics = self.bay, self.bay.topics
        truth = vehicle_truth(bay.demo.rig.vehicle, bay.clock.now_s)
        known = {
            topics.axle(w.axle, w.side.value, "camber"): t.camber_rad
            for w, t in truth.wheels.items()
        }
        known |= {
            topics.axle(n, "both", "total-toe"): axle.total_toe_rad
            for n, axle in truth.axles.items()
        }
        good = {t: bay.outlet.retained[t] for t in known if t in bay.outlet.retained}
        good = {t: said for t, said in good.items() if said["q"] == "good"}
        wrong = {
            topic: (said["value"], known[topic] / DEG, said["U"])
            for topic, said in good.items()
            if abs(said["value"] - known[topic] / DEG) > TIMES_U * said["U"]
        }
        return wrong, len(good)

    def hold_right(self, tries=8):
        """See that nothing wrong stands, while something good comes to stand."""
        good = 0
        while not good and tries:
            self.bay.advance(0.5)
            wrong, good = self.wrong()
            assert not wrong
            tries -= 1
        assert good


WAYS = (Failing.freezes, Failing.resets, Failing.is_unplugged, Failing.is_swapped)


def failing(rig, rounds):
    """Have each head fail, one after another; which in which way is drawn."""
    ways = list(WAYS)
    rig.random.shuffle(ways)
    for name, way in zip(HEADS, ways, strict=True):
        if name in rounds:
            way(rig, name)


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_head_that_fails_in_a_turn_gives_what_is_right_or_nothing(simulated_bay, seed):
    rig = Failing(simulated_bay(seed), seed)
    bay, work = rig.bay, rig.bay.bay.work
    for axle in (1, 2):
        bay.demo.technician.jack(axle)
    bay.advance(2.0)
    fails = set(rig.random.choice(HEADS, 2, replace=False).tolist())
    at = int(rig.random.integers(0, 5))
    for name in HEADS:
        assert work.begin(bay.head(name)).ok
    plans = [bay.demo.technician.stops(wheel, 3) for wheel in WHEELS]
    for number, steps in enumerate(zip(*plans, strict=True)):
        wait_s = max(step.wait_s for step in steps) + 0.4
        early_s = float(rig.random.uniform(0.1, wait_s))
        if number == at:
            bay.advance(early_s)
            failing(rig, fails)
        bay.advance(wait_s)
    ended = {name: work.end(bay.head(name)) for name in HEADS}
    if at == 4:
        failing(rig, fails)
    for axle in (1, 2):
        bay.demo.technician.lower(axle)
    bay.advance(5.0)
    rig.hold_right()
    assert any(done.ok for done in ended.values())
    if at < 4:
        assert not all(done.ok for done in ended.values())


@pytest.mark.parametrize("seed", range(11, 14))
def test_a_head_that_fails_in_a_push_gives_what_is_right_or_nothing(simulated_bay, seed):
    rig = Failing(simulated_bay(seed), seed)
    bay = rig.bay
    bay.demo.rig.vehicle.floor = draw_floor(rig.random, 0.01 * DEG)
    fails = set(rig.random.choice(HEADS, 2, replace=False).tolist())
    assert bay.bay.push.begin(bay.bay.heads.values()).ok
    bay.demo.technician.push(3.3)
    bay.advance(float(rig.random.uniform(0.5, 8.0)))
    failing(rig, fails)
    bay.advance(12.5)
    done = bay.bay.push.end()
    assert (done.ok, done.code) == (True, "partly")
    bay.advance(3.0)
    rig.hold_right()


@pytest.mark.parametrize("seed", [21, 22])
def test_a_turn_survives_a_stutter_and_is_right(simulated_bay, seed):
    rig = Failing(simulated_bay(seed), seed)
    bay, work = rig.bay, rig.bay.bay.work
    bay.demo.technician.jack(1)
    bay.advance(2.0)
    work.begin(bay.head("alder"))
    for step in bay.demo.technician.stops(WHEELS[0], 3):
        bay.advance(step.wait_s / 2.0)
        rig.stutters("alder")
        bay.advance(step.wait_s / 2.0 + 1.0)
    done = work.end(bay.head("alder"))
    assert done.ok, done.text
    bay.demo.technician.lower(1)
    bay.advance(5.0)
    rig.hold_right()


def test_the_check_would_see_a_wrong_result(simulated_bay):
    rig = Failing(simulated_bay(31), 31)
    topic = rig.bay.topics.axle(1, "left", "camber")
    true_deg = vehicle_truth(rig.bay.demo.rig.vehicle, 0.0).wheels[WHEELS[0]].camber_rad / DEG
    rig.bay.outlet.retained[topic] = {"q": "good", "value": true_deg + np.pi, "U": 0.05}
    assert list(rig.wrong()[0]) == [topic]
