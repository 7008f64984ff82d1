"""The lines under ``val/``: what stands in them, and that no old value looks live."""

import json
import re

import pytest

from ingest.core.units import NS
from ingest.outputs.plainmirror import PlainMirror
from ingest.payload.examples import EXAMPLES
from ingest.payload.plain import PLAIN_EXAMPLE, PLAIN_LIMIT_BYTES, PLAIN_SCHEMA, plain
from ingest.payload.topics import Topics

READING, RESULT, THERE = EXAMPLES["reading/1"], EXAMPLES["axle-result/1"], EXAMPLES["head-status/1"]
GONE = THERE.model_copy(update={"state": "offline", "q": "stale", "why": "link-lost"})
TOPICS = Topics("bay1")
CAMBER, INCL_Y = "levelhead/v1/bay1/axle/1/left/camber", "levelhead/v1/bay1/head/alder/incl_y"
STATUS = "levelhead/v1/bay1/head/alder/status"


class Paper:
    """An outlet that keeps the plain lines, and how they were said."""

    def __init__(self):
        self.lines, self.manners, self.passed, self.replies = [], set(), [], []

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        if "/val/" not in topic:
            self.passed.append((topic, payload, retain, qos, expiry_s))
            return
        self.lines.append((topic.partition("/val/")[2], payload.decode("ascii")))
        self.manners.add((retain, qos))

    def reply(self, request, payload):
        self.replies.append((request, payload))


class Bay:
    def __init__(self):
        self.paper, self.now_s = Paper(), 100.0
        self.mirror = PlainMirror(self.paper, TOPICS, lambda: int(self.now_s * NS))

    def say(self, topic, message):
        payload = b"" if message is None else message.encode()
        self.mirror.publish(topic, payload, retain=True, qos=0, expiry_s=3.0)

    def again(self, after_s=0.0):
        self.now_s += after_s
        self.paper.lines.clear()
        self.mirror.say_again()
        return dict(self.paper.lines)


@pytest.mark.parametrize(
    ("message", "changed", "line"),
    [
        (RESULT, {}, "-0.423 0.059 deg none good"),
        (RESULT, {"dec": "undecided", "q": "uncertain"}, "-0.423 0.059 deg undecided uncertain"),
        (RESULT, {"value": 0.3, "U": 0.06}, "0.300 0.060 deg none good"),
        (RESULT, {"unit": "mm/m", "dp": 1, "U": None}, "-0.4 - mm/m none good"),
        (RESULT, {"q": "bad", "dec": "none"}, "- - deg none bad"),
        (RESULT, {"q": "stale"}, "- - deg none stale"),
        (RESULT, {"value": None, "q": "bad"}, "- - deg none bad"),
        (READING, {"U": 1.2}, "-1.284 1.2 deg none good"),
        (READING, {"U": 1e-05, "dp": 6}, "-1.284000 0.00001 deg none good"),
    ],
)
def test_a_line_has_value_u_unit_decision_and_quality(message, changed, line):
    said = plain(type(message).model_construct(**{**dict(message), **changed}))
    assert said == line
    assert re.fullmatch(PLAIN_SCHEMA["pattern"], said)


def test_no_line_is_longer_than_small_clients_can_hold():
    # The largest figures with the most decimals that a result has.
    wide = RESULT.model_copy(
        update={"value": -180.123456789, "U": 179.123456789, "dp": 9, "unit": "[in_i]"}
        | {"dec": "undecided", "q": "uncertain"}
    )
    assert len(plain(wide)) <= PLAIN_LIMIT_BYTES
    assert re.fullmatch(PLAIN_SCHEMA["pattern"], PLAIN_EXAMPLE)


def test_what_is_published_passes_as_it_is_and_its_line_is_said_beside_it_never_retained():
    bay = Bay()
    bay.say(CAMBER, RESULT)
    bay.say(INCL_Y, READING)
    bay.mirror.reply("request", b"answer")
    assert bay.paper.passed == [
        (CAMBER, RESULT.encode(), True, 0, 3.0),
        (INCL_Y, READING.encode(), True, 0, 3.0),
    ]
    assert bay.paper.replies == [("request", b"answer")]
    assert dict(bay.paper.lines) == {
        "axle/1/left/camber": "-0.423 0.059 deg none good",
        "head/alder/incl_y": "-1.284 0.024 deg none good",
    }
    assert bay.paper.manners == {(False, 0)}


def test_a_line_is_said_again_and_a_reading_that_is_too_old_is_said_to_be_stale():
    bay = Bay()
    bay.say(CAMBER, RESULT)
    bay.say(INCL_Y, READING)
    assert bay.again(2.9)["head/alder/incl_y"] == "-1.284 0.024 deg none good"
    found = bay.again(0.2)  # its ttl is 3 s
    assert found["head/alder/incl_y"] == "- - deg none stale"
    assert found["axle/1/left/camber"] == "-0.423 0.059 deg none good"


def test_a_head_that_goes_takes_its_values_along_at_once_and_brings_none_back_unsaid():
    bay = Bay()
    bay.say(STATUS, THERE)
    bay.say(INCL_Y, READING)
    bay.paper.lines.clear()
    bay.say(STATUS, GONE)
    assert bay.paper.lines == [("head/alder/incl_y", "- - deg none stale")]
    assert bay.again()["head/alder/incl_y"] == "- - deg none stale"
    bay.say(STATUS, THERE)
    bay.say(INCL_Y, READING)
    assert bay.again()["head/alder/incl_y"] == "-1.284 0.024 deg none good"


def test_a_head_whose_status_cannot_be_read_counts_as_gone():
    bay = Bay()
    bay.say(INCL_Y, READING)
    bay.mirror.publish(STATUS, b"{", retain=True, qos=1, expiry_s=None)
    assert bay.again()["head/alder/incl_y"] == "- - deg none stale"


def test_what_is_taken_back_is_said_to_be_stale_once_and_then_not_at_all():
    bay = Bay()
    bay.say(CAMBER, RESULT)
    bay.paper.lines.clear()
    bay.say(CAMBER, None)
    assert bay.paper.lines == [("axle/1/left/camber", "- - deg none stale")]
    assert bay.again() == {}
    bay.say(CAMBER, None)  # nothing stood


def test_nothing_else_is_mirrored():
    bay = Bay()
    others = {"head/alder/link": "head-link/1", "head/alder/meta": "head-meta/1"}
    others |= {"head/alder/runout": "runout/1", "job/live": "job-live/1"}
    for topic, name in others.items():
        bay.say(f"levelhead/v1/bay1/{topic}", EXAMPLES[name])
    assert bay.again() == {}
    assert json.loads(bay.paper.passed[0][1])["link"] == "serial"
