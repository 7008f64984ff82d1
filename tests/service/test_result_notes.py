"""What the log of published results is told, and when."""

import pytest

from ingest.payload.topics import Topics
from ingest.service.announcer import Announcer
from ingest.service.bayspread import ASSUMED, Occasion
from ingest.service.resultnotes import ResultNotes


class Log:
    """A log in memory."""

    def __init__(self):
        self.notes = []

    def note(self, result):
        self.notes.append(result)

    def of(self, topic):
        return [each for each in self.notes if each.topic == topic]


@pytest.fixture
def bay_and_log(simulated_bay, one_axle_measured):
    log = Log()
    return one_axle_measured(simulated_bay(21, published=log)), log


def said(bay, topic):
    return bay.outlet.retained[f"{bay.topics.root}/{topic}"]


def test_the_log_s_last_word_is_what_stands_when_a_head_is_taken_off(bay_and_log):
    bay, log = bay_and_log
    topic = "axle/1/left/camber"
    bay.advance(12.0)  # a wheel that was let down creeps for a while
    last_said = said(bay, topic)
    bay.bay.put_on(bay.head("alder"), None)
    last = log.of(topic)[-1]
    assert (last.value_deg, last.U_deg, last.k) == tuple(last_said[k] for k in ("value", "U", "k"))
    assert last.said_ms == last_said["ms"]
    count = len(log.notes)
    bay.bay.put_on(bay.head("alder"), None)
    assert len(log.notes) == count


@pytest.fixture
def notes_and_log():
    log = Log()
    announcer = Announcer(Topics("sim"), None, lambda: 0, lambda: 0, "b-1")
    return ResultNotes(announcer, ASSUMED, log), log


def tell(notes, value, settling="3.1"):
    fields = {"ms": 5, "value": value, "U": 0.04, "k": 2.0, "q": "good"}
    notes.said("levelhead/v1/sim/axle/1/left/camber", fields, Occasion("w", "3", settling), [])


def test_a_rest_is_logged_at_once_and_again_when_it_is_over(notes_and_log):
    notes, log = notes_and_log
    for value in (0.10, 0.11, 0.12):
        tell(notes, value)
    assert [each.value_deg for each in log.notes] == [0.10]
    notes.over("levelhead/v1/sim/axle/1/left/camber")
    notes.over("levelhead/v1/sim/axle/1/left/camber")
    assert [each.value_deg for each in log.notes] == [0.10, 0.12]
    assert {(each.topic, each.settled) for each in log.notes} == {("axle/1/left/camber", "b-1 3.1")}


def test_the_next_rest_is_logged_as_another_and_nothing_new_is_not_logged(notes_and_log):
    notes, log = notes_and_log
    tell(notes, 0.10)
    notes.over("levelhead/v1/sim/axle/1/left/camber")
    tell(notes, 0.10, "3.2")
    assert [each.settled for each in log.notes] == ["b-1 3.1", "b-1 3.2"]


def test_what_is_logged_names_the_heads_and_the_records_they_stood_on(bay_and_log):
    bay, log = bay_and_log
    toe = log.of("axle/1/both/total-toe")[-1]
    alder, birch = bay.head("alder"), bay.head("birch")
    stood_on = {h.id: h.instrument.record.record_id for h in (alder, birch)}
    assert dict(toe.heads) == stood_on
    assert list(toe.heads) == sorted(toe.heads)
    assert (toe.bay, toe.spread, toe.quality) == ("sim", ASSUMED, "good")
    camber = log.of("axle/1/left/camber")[-1]
    assert dict(camber.heads) == {alder.id: stood_on[alder.id]}


def test_a_wheel_that_moved_and_rests_again_is_another_result(bay_and_log):
    bay, log = bay_and_log
    bay.advance(5.0)
    before = log.of("axle/1/right/camber")[-1]
    bay.demo.technician.jack(1)
    bay.advance(5.0)
    bay.demo.technician.lower(1)
    bay.advance(8.0)
    assert log.of("axle/1/right/camber")[-1].settled != before.settled


def test_a_head_without_a_record_is_logged_as_such(simulated_bay, one_axle_measured):
    log = Log()
    one_axle_measured(simulated_bay(21, with_records=False, published=log))
    assert {record for each in log.notes for _, record in each.heads} == {None}
    assert {each.quality for each in log.notes} == {"uncertain"}
