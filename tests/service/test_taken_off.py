"""What is said of a result once its head is off."""

from ingest.service.takenoff import TAKEN_OFF_S, kept

GOOD = {"q": "good", "why": ""}
OLD = {"q": "uncertain", "why": "overdue"}


def test_a_wheel_that_stood_is_as_good_as_it_was_and_is_not_watched():
    assert kept(GOOD, stood=True) == {"q": "good", "why": "unwatched"}


def test_a_wheel_that_moved_long_before_is_in_doubt():
    assert kept(GOOD, stood=False) == {"q": "uncertain", "why": "unmounted"}


def test_what_was_less_than_good_keeps_its_own_reason():
    assert kept(OLD, stood=True) == kept(OLD, stood=False) == OLD


def test_a_head_that_swings_on_and_on_before_it_is_taken_off(simulated_bay, one_axle_measured):
    bay = one_axle_measured(simulated_bay(2))
    topic = bay.topics.axle(1, "left", "camber")
    bay.advance(3.0)
    bay.demo.technician.jack(1)
    # Shaken for longer than anybody takes to take a head off: its wheel may be what moved.
    state = bay.demo.rig.vehicle.axle_state[1].roll
    for number in range(int(TAKEN_OFF_S / 2.0) + 4):
        at_s = max(state.end_s, bay.clock.now_s) + 0.05
        state.move(at_s, 0.01 * (-1) ** number, 1.9)
        bay.advance(2.0)
    bay.bay.put_on(bay.head("alder"), None)
    assert (bay.outlet.retained[topic]["q"], bay.outlet.retained[topic]["why"]) == (
        "uncertain",
        "unmounted",
    )
