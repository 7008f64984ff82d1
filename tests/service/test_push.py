"""One push of the vehicle compensates all mounted heads, against the simulator's truth.

The floor is uneven, clamps sit askew and off centre, heads swing, and wheels settle anew.
"""

import numpy as np
import pytest
from scipy import stats

from calibration.measured import covariance
from ingest.commands.demo_rig import HEADS
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.cmd import PushBegin, PushEnd, Request, TurnEnd
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.service.bayspread import SpreadSettings
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.requests import Requests
from ingest.service.wheelsettings import WheelSettings
from ingest.simulator.floor import draw_floor
from ingest.simulator.streams import stream
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt

SEEDS = range(1, 13)
FULL_TURN_M = 3.3
BARE = BaySettings(
    wheel=WheelSettings(spread=SpreadSettings(camber_deg=0.0, heading_deg=0.0, port_height_m=0.01))
)
"""Without the spread that is assumed of a bay, which would hide what a push does."""


class Pushed:
    """A simulated bay on an uneven floor with heads on two axles."""

    def __init__(self, bay, seed, axles):
        self.bay = bay
        self.rig = bay.demo.rig
        self.rig.vehicle.floor = draw_floor(stream(seed, "floor"), 0.01 * DEG)
        wheels = [WheelAt(axle, side) for axle in axles for side in Side]
        self.on = dict(zip(HEADS, wheels, strict=True))
        for name, wheel in self.on.items():
            bay.demo.technician.mount(bay.demo.heads[name], wheel)
            bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
        bay.advance(2.5)

    def begin(self):
        return self.bay.bay.push.begin(self.bay.bay.heads.values())

    def roll(self, distance_m=FULL_TURN_M):
        self.bay.advance(self.bay.demo.technician.push(distance_m).wait_s)

    def end(self):
        return self.bay.bay.push.end()

    def said(self, name):
        return self.bay.outlet.retained[self.bay.topics.head_runout(name)]

    def results(self):
        """Return what stands, unrounded, and the truth, by topic."""
        topics, found = self.bay.topics, self.bay.bay.work.results.standing
        truth = vehicle_truth(self.rig.vehicle, self.bay.clock.now_s)
        known = {}
        for wheel, each in truth.wheels.items():
            known[topics.axle(wheel.axle, wheel.side.value, "camber")] = each.camber_rad
        for number, axle in truth.axles.items():
            known[topics.axle(number, "both", "total-toe")] = axle.total_toe_rad
        return found, {topic: known[topic] for topic in found}


@pytest.fixture
def pushed(simulated_bay):
    """Return a maker of bays that are ready for a push."""

    def make(seed, axles=(1, 2), **settings):
        return Pushed(simulated_bay(seed, **settings), seed, axles)

    return make


def test_a_push_compensates_all_heads_within_their_uncertainties(pushed):
    ratios, chi2, dof = [], 0.0, 0
    for seed in SEEDS:
        rig = pushed(seed, (1, 2) if seed % 2 else (3, 4), settings=BARE)
        assert rig.begin().ok
        rig.roll()
        done = rig.end()
        assert done.code == "ok", done.text
        rig.bay.advance(3.0)
        found, known = rig.results()
        errors = np.array([found[topic].value - known[topic] for topic in found])
        ratios += [error / each.u for error, each in zip(errors, found.values(), strict=True)]
        chi2 += errors @ np.linalg.solve(covariance(list(found.values())), errors)
        dof += len(errors)
    inside = int(np.sum(np.abs(ratios) < stats.norm.ppf(0.975)))
    assert len(ratios) >= 4 * len(SEEDS)
    assert stats.binom.cdf(inside, len(ratios), 0.95) > 1e-3  # not too few; more is caution
    assert chi2 < stats.chi2.ppf(1 - 1e-4, dof)
    assert chi2 > 0.2 * dof  # nor an uncertainty that says nothing


def test_while_it_rolls_every_head_says_how_far_and_how_much_further(pushed):
    rig = pushed(2)
    assert rig.begin().ok
    rig.roll()
    for name in HEADS:
        said = rig.bay.outlet.of(rig.bay.topics.head_runout(name))
        assert {(m["state"], m["q"]) for m in said} == {("turning", "uncertain")}
        arcs = [m["arc"] for m in said]
        assert arcs == sorted(arcs)
        assert arcs[-1] > 330.0
        known = [m for m in said if m["camber_U"] is not None]
        assert known[-1]["camber_U"] < known[0]["camber_U"]
        assert max(m.get("further") or 0.0 for m in known) > 0.0
        assert known[-1]["further"] == 0.0


def test_the_answer_tells_per_head_what_came_out(pushed):
    rig = pushed(3)
    begun = rig.begin()
    assert "nobody in front" in begun.text.lower()
    rig.roll()
    done = rig.end()
    assert all(f"{name} " in done.text and "deg" in done.text for name in HEADS)
    assert len(done.text) <= 200
    for name in HEADS:
        assert rig.said(name)["state"] == "done"


def test_a_push_goes_on_without_the_head_that_drops_out_restarts_or_is_taken_off(pushed):
    rig = pushed(5)
    rig.begin()
    rig.bay.demo.technician.push(FULL_TURN_M)
    rig.bay.advance(2.0)
    rig.bay.silent.add("alder")
    rig.bay.bay.link_changed("alder", LinkChange(LinkState.ABSENT, None))
    rig.bay.give("birch", rig.bay.demo.ptys["birch"].firmware.restart(rig.bay.clock()))
    rig.bay.bay.put_on(rig.bay.head("cedar"), None)
    rig.bay.advance(11.0)
    done = rig.end()
    assert (done.ok, done.code) == (True, "partly")
    assert "alder refused (link-lost)" in done.text
    assert "birch refused (restarted)" in done.text
    assert "cedar refused (taken off)" in done.text
    assert rig.said("dogwood")["state"] == "done"
    assert rig.said("birch")["why"] == "restarted"
    rig.bay.advance(3.0)
    found, known = rig.results()
    assert list(found) == [rig.bay.topics.axle(2, "right", "camber")]
    for topic, each in found.items():
        assert abs(each.value - known[topic]) < 3.0 * each.u


@pytest.mark.parametrize(("seed", "by_deg"), [(1, 0.4), (2, 1.5), (3, 0.4), (6, 0.4)])
def test_a_knocked_head_is_refused_and_the_others_are_used(pushed, seed, by_deg):
    """Its partner, too, whose sightline ends at the knocked head."""
    rig = pushed(seed)
    rig.begin()
    rig.bay.demo.technician.push(FULL_TURN_M)
    rig.bay.advance(4.0)
    rig.bay.demo.technician.slip(rig.bay.demo.heads["birch"], by_deg * DEG)
    rig.bay.advance(9.0)
    done = rig.end()
    assert rig.said("birch")["state"] == "refused", done.text
    for name in ("alder", "cedar", "dogwood"):
        assert rig.said(name)["state"] == "done", done.text
    rig.bay.advance(3.0)
    found, known = rig.results()
    assert rig.bay.topics.axle(1, "right", "camber") not in found
    assert rig.bay.topics.axle(1, "both", "total-toe") not in found
    for topic, each in found.items():
        assert abs(each.value - known[topic]) < 3.0 * each.u


def test_a_turn_begun_after_dropping_out_of_a_push_is_no_part_of_it(pushed):
    rig = pushed(5)
    rig.begin()
    rig.bay.demo.technician.push(FULL_TURN_M)
    rig.bay.advance(2.0)
    rig.bay.bay.link_changed("alder", LinkChange(LinkState.ABSENT, None))
    rig.bay.bay.link_changed("alder", LinkChange(LinkState.OPEN, None))
    rig.bay.advance(5.0)
    assert rig.bay.bay.work.begin(rig.bay.head("alder")).ok
    rig.bay.advance(6.0)
    done = rig.end()
    assert "alder refused" in done.text
    assert rig.bay.bay.work.begin(rig.bay.head("alder")).code == "already-turning"


def test_a_push_too_short_is_refused_with_the_figure(pushed):
    rig = pushed(4)
    rig.begin()
    rig.roll(0.02)
    done = rig.end()
    assert (done.ok, done.code) == (False, "refused")
    assert {rig.said(name)["state"] for name in HEADS} == {"refused"}
    assert rig.said("alder")["figure"] is not None


def test_pushes_and_turns_do_not_get_mixed_up(pushed):
    rig = pushed(6)
    work = rig.bay.bay.work
    assert rig.end().code == "not-turning"
    assert work.begin(rig.bay.head("alder")).ok
    assert "alder" in rig.begin().text
    assert rig.begin().code == "already-turning"
    work.end(rig.bay.head("alder"))
    assert rig.begin().ok
    assert rig.begin().code == "already-turning"
    assert work.end(rig.bay.head("alder")).code == "busy"
    assert work.begin(rig.bay.head("alder")).code == "already-turning"


def test_a_push_needs_a_head_on_a_wheel(simulated_bay):
    bay = simulated_bay(7)
    assert bay.bay.push.begin(bay.bay.heads.values()).code == "not-mounted"


def test_a_mounted_head_that_is_not_online_is_named(pushed):
    rig = pushed(8)
    rig.bay.silent.add("cedar")
    rig.bay.bay.link_changed("cedar", LinkChange(LinkState.ABSENT, None))
    begun = rig.begin()
    assert (begun.ok, begun.code) == (True, "partly")
    assert "not online: cedar" in begun.text
    rig.roll()
    assert "cedar not online" in rig.end().text


def test_displays_ask_for_a_push_without_naming_a_head(pushed):
    rig = pushed(9)
    replies = []
    requests = Requests(
        rig.bay.bay,
        rig.bay.announcer,
        rig.bay.clock.ns,
        lambda request, payload: replies.append((request.name, payload)),
        lambda *_: None,
    )
    requests.carry_out(Request("push-begin", PushBegin(id="a"), None, None))
    requests.carry_out(Request("turn-end", TurnEnd(id="b", head="alder"), None, None))
    rig.roll()
    requests.carry_out(Request("push-end", PushEnd(id="c"), None, None))
    assert [name for name, _ in replies] == ["push-begin", "turn-end", "push-end"]
    assert b'"code":"busy"' in replies[1][1]
    assert b'"ok":true' in replies[2][1]


def test_heads_fixed_to_their_wheels_take_part(fixed_bay):
    ratios = []
    for seed in (1, 2, 3):
        rig = Pushed(fixed_bay(seed), seed, (1, 2))
        rig.begin()
        rig.roll()
        done = rig.end()
        assert done.code == "ok", done.text
        rig.bay.advance(3.0)
        found, known = rig.results()
        ratios += [(found[topic].value - known[topic]) / found[topic].u for topic in found]
    assert len(ratios) >= 8
    assert np.max(np.abs(ratios)) < 3.0
