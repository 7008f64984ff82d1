"""Every case of this folder: its capture is played, and held against what must come of it.

``expected.json`` lists expectations of a topic below the bay's root:

- ``truth``: whenever a trusted message says these quantities, they are within the U that it
  states of what is true, and that U is at most ``U``; figures of a turn that still goes on
  are left out. ``from_s`` and ``until_s`` bound the time, seconds from the capture's start.
  ``ends`` says how it comes out: ``right`` (the last such message is trusted), ``said`` (one
  is), ``refused`` (none is), ``either`` (something is said), ``open`` (perhaps nothing is).
- ``some``: at least one message has these fields. ``last``: the last has; null: nothing stands.
"""

import json
from copy import deepcopy
from pathlib import Path

import pytest

from ingest.capture.reader import read_capture
from ingest.service.player import Player

FOLDERS = sorted(path.parent for path in Path(__file__).parent.glob("*/expected.json"))
TRUSTED = ("good", "uncertain")
MOST_BYTES = 200_000


class Heard:
    """An outlet that keeps what is said by topic below the bay's root, and when."""

    def __init__(self):
        self.now_s = 0.0
        self.messages = {}

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        said = json.loads(payload) if payload else None
        self.messages.setdefault(topic.split("/", 3)[3], []).append((self.now_s, said))

    def reply(self, request, payload):
        self.publish(request.reply_topic, payload, retain=False, qos=1, expiry_s=None)


def played(folder):
    heard = Heard()
    capture = read_capture(folder / "capture.mcap")
    player = Player(folder.name, capture.records, heard)
    for record in player.records:
        heard.now_s = (record.at_ns - player.records[0].at_ns) * 1e-9
        player.play(record)
    assert player.skipped == 0
    return heard.messages


def has(said, fields):
    return said is not None and all(said.get(key) == value for key, value in fields.items())


def broken(expectation, messages):
    """Return, as a line, how an expectation is not met; None where it is."""
    topic = expectation["topic"]
    said = messages.get(topic, [])
    if "some" in expectation:
        met = any(has(each, expectation["some"]) for _, each in said)
        return None if met else f"{topic}: nothing has {expectation['some']}"
    if "last" in expectation:
        last, fields = said[-1][1] if said else None, expectation["last"]
        met = last is None if fields is None else has(last, fields)
        return None if met else f"{topic}: the last is {last}, not {fields}"
    start_s, end_s = expectation.get("from_s", 0.0), expectation.get("until_s", float("inf"))
    final = [
        each
        for at_s, each in said
        if start_s <= at_s < end_s and each is not None and each.get("state") != "turning"
    ]
    return untrue(expectation, final) or wrong_end(expectation, final)


def untrue(expectation, final):
    for each in final:
        if each["q"] not in TRUSTED:
            continue
        for quantity, truth in expectation["truth"].items():
            u = each["U" if quantity == "value" else f"{quantity}_U"]
            if u is None or u > expectation["U"]:
                return f"{expectation['topic']}: U is {u}, too much to be of use"
            if abs(each[quantity] - truth) > u:
                return f"{expectation['topic']}: {each[quantity]} +/- {u}, the truth is {truth}"
    return None


def wrong_end(expectation, final):
    trusted = [each["q"] in TRUSTED for each in final]
    met = {
        "right": bool(final) and trusted[-1],
        "said": any(trusted),
        "refused": not any(trusted),
        "either": bool(final),
        "open": True,
    }[expectation["ends"]]
    return None if met else f"{expectation['topic']}: does not end {expectation['ends']}"


@pytest.fixture(scope="module")
def messages():
    """Return a function that plays a case, once for all tests."""
    known = {}

    def of(folder):
        if folder not in known:
            known[folder] = played(folder)
        return known[folder]

    return of


@pytest.fixture(params=FOLDERS, ids=lambda folder: folder.name)
def case(request):
    folder = request.param
    return folder, json.loads((folder / "expected.json").read_text(encoding="utf-8"))


def test_what_must_come_of_a_case_comes(case, messages):
    folder, said = case
    assert said["about"]
    assert said["source"]
    assert said["expect"], "nothing is expected: the case cannot fail"
    found = [broken(each, messages(folder)) for each in said["expect"]]
    assert [line for line in found if line] == []


def test_a_case_is_small(case):
    folder, _ = case
    assert (folder / "capture.mcap").stat().st_size < MOST_BYTES


OPPOSITE = {"right": "refused", "said": "refused", "refused": "right"}


def spoilt(expectation):
    """Yield expectations that cannot be met where this one is."""
    if expectation.get("ends") in ("right", "said"):
        other = deepcopy(expectation)
        other["truth"] = {key: value + 1.0 for key, value in other["truth"].items()}
        yield other
        yield expectation | {"U": 0.0}
    if expectation.get("ends") in OPPOSITE:
        yield expectation | {"ends": OPPOSITE[expectation["ends"]]}
    for kind in ("some", "last"):
        if kind in expectation:
            yield {"topic": expectation["topic"], kind: {"no-such-field": 1}}
        if kind == "last" and expectation.get(kind):
            yield {"topic": expectation["topic"], kind: None}


def test_what_is_expected_can_fail(case, messages):
    folder, said = case
    bad = [each for expectation in said["expect"] for each in spoilt(expectation)]
    assert [each for each in bad if broken(each, messages(folder)) is None] == []
