"""Turns, stops and results: what is refused, what goes stale, what a gap does not void."""

import numpy as np
import pytest

from ingest.chain.rest import RestReading
from ingest.core.blocks import Flag, SampleBlock
from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.core.ids import HeadName
from ingest.core.units import DEG, NS
from ingest.geometry.sightline import Sightline
from ingest.service.bayhead import Wheel
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.turns import TurnSettings, WheelTurn
from ingest.service.wheelread import WheelReader
from ingest.simulator.truth import wheel_truth
from ingest.simulator.vehicle import WheelAt
from ingest.wire.framing import frame
from ingest.wire.messages import encode

LEFT, RIGHT = (WheelAt(1, side) for side in Side)
ON = {"alder": LEFT, "birch": RIGHT}


@pytest.fixture
def bay(simulated_bay):
    """A bay with axle 1 lifted and a head on each of its wheels."""
    bay = simulated_bay(21)
    for name, wheel in ON.items():
        bay.demo.technician.mount(bay.demo.heads[name], wheel)
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    bay.demo.technician.jack(1)
    bay.advance(2.5)
    return bay


def work(bay):
    return bay.bay.work


def take(bay, name, tries=6):
    taken = work(bay).take_stop(bay.head(name))
    while not taken.ok and tries:
        bay.advance(0.5)
        taken, tries = work(bay).take_stop(bay.head(name)), tries - 1
    assert taken.ok, taken.text


def turn(bay, name):
    assert work(bay).begin(bay.head(name)).ok
    for step in bay.demo.technician.stops(ON[name], 3):
        bay.advance(step.wait_s + 0.6)
        take(bay, name)
    done = work(bay).end(bay.head(name))
    assert done.ok, done.text


def measured(bay):
    """Turn both wheels, let the axle down, wait for all results."""
    for name in ON:
        turn(bay, name)
    bay.demo.technician.lower(1)
    bay.advance(3.0)
    for _ in range(20):
        if len(work(bay).results.standing) == 3:
            return
        bay.advance(0.5)
    raise AssertionError(f"only {sorted(work(bay).results.standing)} stand")


def camber(bay, side="left"):
    return bay.outlet.retained[bay.topics.axle(1, side, "camber")]


def toe(bay):
    return bay.outlet.retained[bay.topics.axle(1, "both", "total-toe")]


def runout(bay, name="alder"):
    return bay.outlet.retained[bay.topics.head_runout(name)]


def drop_link(bay, name):
    bay.silent.add(name)
    bay.bay.link_changed(name, LinkChange(LinkState.ABSENT, None))


def test_a_turn_needs_a_wheel(bay):
    done = work(bay).begin(bay.head("cedar"))
    assert (done.ok, done.code) == (False, "not-mounted")


def test_a_second_turn_is_not_begun_over_the_first(bay):
    assert work(bay).begin(bay.head("alder")).ok
    assert work(bay).begin(bay.head("alder")).code == "already-turning"


def test_stops_and_ends_need_a_turn(bay):
    assert work(bay).take_stop(bay.head("alder")).code == "not-turning"
    assert work(bay).end(bay.head("alder")).code == "not-turning"


def test_a_stop_while_the_wheel_moves_is_refused(bay):
    work(bay).begin(bay.head("alder"))
    bay.demo.technician.through(LEFT)
    bay.advance(2.0)
    assert work(bay).take_stop(bay.head("alder")).code == "head-moving"


def test_too_few_stops_are_refused_with_the_figure(bay):
    work(bay).begin(bay.head("alder"))
    take(bay, "alder")
    done = work(bay).end(bay.head("alder"))
    said = runout(bay)
    assert (done.ok, done.code) == (False, "refused")
    assert (said["state"], said["q"], said["figure"], said["limit"]) == ("refused", "bad", 1, 3)
    bay.advance(3.0)
    assert not work(bay).results.standing


def test_a_continuous_turn_gives_the_camber_too(bay):
    work(bay).begin(bay.head("alder"))
    bay.advance(bay.demo.technician.through(LEFT).wait_s)
    done = work(bay).end(bay.head("alder"))
    assert done.ok, done.text
    said = runout(bay)
    truth = wheel_truth(bay.demo.rig.vehicle, LEFT, bay.clock.now_s).camber_rad / DEG
    assert said["n"] > 36
    assert said["camber"] == pytest.approx(truth, abs=0.05)


def test_the_button_takes_a_stop_and_says_so(bay):
    work(bay).begin(bay.head("alder"))
    bay.advance(2.0)
    bay.press("alder")
    said = bay.outlet.of(bay.topics.event("stop-taken"))
    assert [(m["head"], m["kind"]) for m in said] == [("alder", "stop-taken")]
    assert "stop" in said[0]["text"]
    assert runout(bay)["n"] >= 1


def test_a_button_without_a_turn_is_answered_with_the_reason(bay):
    bay.press("alder")
    (said,) = bay.outlet.of(bay.topics.event("stop-refused"))
    assert "no turn of alder" in said["text"]


def test_while_the_wheel_turns_the_figures_so_far_are_said(bay):
    work(bay).begin(bay.head("alder"))
    for step in bay.demo.technician.stops(LEFT, 3):
        bay.advance(step.wait_s + 0.6)
        take(bay, "alder")
    said = bay.outlet.of(bay.topics.head_runout("alder"))
    assert {m["state"] for m in said} == {"turning"}
    assert said[-1]["dilution"] == pytest.approx(1.0, abs=0.2)
    assert said[-1]["ttl"] > 0


def test_a_link_lost_during_a_turn_refuses_it(bay):
    work(bay).begin(bay.head("alder"))
    take(bay, "alder")
    drop_link(bay, "alder")
    said = runout(bay)
    assert (said["state"], said["q"], said["why"]) == ("refused", "bad", "link-lost")
    assert work(bay).end(bay.head("alder")).code == "not-turning"


def test_results_stand_on_the_records_and_say_so(bay):
    measured(bay)
    records = {bay.head(n).instrument.record.record_id for n in ON}
    assert camber(bay)["cal"] in records
    assert set(toe(bay)["cal"].split("+")) == records
    assert (toe(bay)["q"], toe(bay)["dec"]) == ("good", "none")
    assert (camber(bay)["against"], toe(bay)["against"]) == ("gravity", None)


def test_results_go_stale_when_their_wheel_moves(bay):
    measured(bay)
    bay.demo.technician.jack(1)
    bay.advance(1.5)
    for said in (camber(bay), camber(bay, "right"), toe(bay)):
        assert (said["q"], said["why"], said["dec"]) == ("stale", "moving", "none")


def test_a_head_taken_off_leaves_its_results_unwatched_and_its_partners_alone(bay):
    measured(bay)
    bay.bay.put_on(bay.head("alder"), None)
    assert (camber(bay)["q"], camber(bay)["why"]) == ("good", "unwatched")
    assert (toe(bay)["q"], toe(bay)["why"]) == ("good", "unwatched")
    assert camber(bay, "right")["q"] == "good"
    assert bay.topics.head_runout("alder") not in bay.outlet.retained
    bay.advance(3.0)
    assert bay.topics.axle(1, "both", "total-toe") not in work(bay).results.standing


def test_a_lost_link_leaves_results_stale(bay):
    measured(bay)
    drop_link(bay, "alder")
    assert (camber(bay)["q"], camber(bay)["why"]) == ("stale", "link-lost")
    assert (toe(bay)["q"], toe(bay)["why"]) == ("stale", "link-lost")


def test_a_restarted_head_must_be_turned_again(bay):
    measured(bay)
    pty = bay.demo.ptys["alder"]
    bay.give("alder", pty.firmware.restart(bay.clock()))
    bay.advance(3.0)
    assert camber(bay)["q"] == "stale"
    assert bay.topics.head_runout("alder") not in bay.outlet.retained
    assert bay.topics.axle(1, "left", "camber") not in work(bay).results.standing


def test_a_gap_in_the_stream_voids_nothing(bay):
    measured(bay)
    bay.silent.add("alder")
    bay.advance(0.75)
    bay.silent.remove("alder")
    bay.advance(0.5)
    assert camber(bay)["q"] == "good"
    assert toe(bay)["q"] == "good"


def test_toe_does_not_look_back_to_before_either_wheel_came_to_rest(bay, monkeypatch):
    since = []
    read = WheelReader._since

    def spy(self, bench, since_ns):
        since.append((since_ns, bench.rest.t_ns))
        return read(self, bench, since_ns)

    monkeypatch.setattr(WheelReader, "_since", spy)
    measured(bay)
    assert since
    for (one_ns, rest_ns), (other_ns, across_ns) in zip(since[::2], since[1::2], strict=True):
        assert one_ns == other_ns == max(rest_ns, across_ns)


def test_renaming_says_the_run_out_again(bay):
    turn(bay, "alder")
    before = runout(bay)
    bay.bay.name(bay.head("alder"), HeadName("front-left"))
    after = runout(bay, "front-left")
    assert {k: after[k] for k in ("id", "camber", "runout")} == {
        k: before[k] for k in ("id", "camber", "runout")
    }


def test_the_old_port_of_a_moved_head_does_not_break_its_turn(bay):
    drop_link(bay, "alder")
    bay.silent.add("birch")
    hello = bay.demo.ptys["alder"].firmware.hello()
    bay.give("birch", b"\0" + frame(encode(hello)))
    assert work(bay).begin(bay.head("alder")).ok
    bay.bay.link_changed("alder", LinkChange(LinkState.SILENT, None))
    assert work(bay).begin(bay.head("alder")).code == "already-turning"


def test_an_overdue_record_marks_the_results(bay, monkeypatch):
    record = bay.head("alder").instrument.record
    monkeypatch.setattr(
        type(bay.announcer), "today", lambda self: record.due.replace(year=record.due.year + 1)
    )
    measured(bay)
    for said in (camber(bay), camber(bay, "right"), toe(bay), runout(bay)):
        assert (said["q"], said["why"]) == ("uncertain", "overdue")
    assert camber(bay)["cal"] == record.record_id


def test_moving_samples_without_a_value_are_no_readings_of_a_turn():
    # A head may leave a declared channel out where its sensor gave nothing (SPEC.md 5.2, rule 2).
    turn = WheelTurn(TurnSettings(), Sightline())
    values = np.zeros((8, 60))
    values[ROW[Channel.ROTATION]] = np.linspace(0.0, 6.0, 60)
    values[ROW[Channel.ROTATION], ::7] = np.nan
    values[ROW[Channel.INCL_Y], 3] = np.nan
    flags = np.full(60, int(Flag.MOVING), np.uint16)
    block = SampleBlock(t_ns=np.arange(60) * 10_000_000, values=values, flags=flags)
    turn.add([block])
    n, arc_rad = turn.arc()
    assert n == 60 - 9 - 1
    assert arc_rad > 5.0


def test_a_rest_without_a_value_is_no_stop():
    turn = WheelTurn(TurnSettings(), Sightline())
    silent = np.zeros(8)
    silent[ROW[Channel.ROTATION]] = np.nan
    for at, values in enumerate((np.zeros(8), silent)):
        reading = RestReading(
            t_ns=at * NS,
            values=values,
            u=np.full(8, 1e-5),
            n=50,
            counts=np.full(8, 50),
            span_s=0.5,
            flags=Flag.STILL,
        )
        assert turn.rest(reading) is (at == 0)
        assert not turn.take(reading)
    assert turn.arc()[0] == 1


def test_a_turn_too_slow_for_a_window_is_not_averaged_into_what_is_left(
    simulated_bay, one_axle_measured
):
    """0.04 deg/s spread less over the window of rest than noise may; the truth is the rig's."""
    bay = one_axle_measured(simulated_bay(21, rate_hz=20.0))
    give = bay.demo.rig.vehicle.wheel_state[LEFT].toe_give
    bay.advance(max(0.0, give.end_s - bay.clock.now_s) + 4.0)
    settling = work(bay).bench(bay.head("alder")).settling
    before = toe(bay)
    give.move(bay.clock.now_s, give.last + 0.2 * DEG, 6.0, ramp=0.1)
    bay.advance(7.0)
    assert work(bay).bench(bay.head("alder")).settling > settling
    bay.advance(4.0)
    said = toe(bay)
    assert said["q"] == "good"
    assert abs(said["value"] - before["value"]) == pytest.approx(0.2, abs=0.02)


def test_whoever_worked_at_an_axle_and_is_done_has_it_read_anew(simulated_bay, one_axle_measured):
    bay = one_axle_measured(simulated_bay(21, rate_hz=20.0))
    work(bay).anew(1, "moving")
    assert (toe(bay)["q"], toe(bay)["why"]) == ("stale", "moving")
    bay.advance(4.0)
    assert toe(bay)["q"] == "good"
