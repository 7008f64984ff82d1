"""The AsyncAPI document: its schemas held by jsonschema (an outside validator) against the examples
and against every message of replayed captures. The parser is held to it in ``tests/integrator``."""

import json
import re
from pathlib import Path

import jsonschema
import pytest

from ingest.capture.reader import read_capture
from ingest.cli import main
from ingest.outputs.plainmirror import PlainMirror
from ingest.payload.asyncapi import address_of, asyncapi, whole
from ingest.payload.examples import EXAMPLES
from ingest.payload.schemas import TOPICS, schema
from ingest.service.player import Player

CASES = Path(__file__).parents[1] / "cases"
PLAYED = ("good-turn", "unplugged")
MIRRORED = "unplugged"
DOCUMENT = asyncapi()


class Heard:
    """An outlet that keeps what is published, whole."""

    def __init__(self):
        self.said = []

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.said.append((topic, payload, retain, qos))

    def reply(self, request, payload):
        if request.reply_topic is not None:
            self.said.append((request.reply_topic, payload, False, 1))


def validator(message):
    return jsonschema.Draft7Validator(
        DOCUMENT["components"]["messages"][message]["payload"]["schema"]
    )


def operation_of(key):
    (found,) = [
        o for o in DOCUMENT["operations"].values() if o["channel"]["$ref"].endswith(f"/{key}")
    ]
    return found


@pytest.fixture(scope="module", params=PLAYED)
def said(request):
    heard = Heard()
    records = read_capture(CASES / request.param / "capture.mcap").records
    now = [0]
    topics = Player(request.param, records, heard).topics
    mirror = PlainMirror(heard, topics, lambda: now[0])
    player = Player(request.param, records, mirror if request.param == MIRRORED else heard)
    for record in player.records:
        now[0] = record.at_ns
        player.play(record)
    return heard.said


def test_every_message_of_a_capture_has_a_channel_and_fits_its_schema_and_manner(said):
    channels = DOCUMENT["channels"]
    keys = {topic: address_of(topic, channels) for topic, *_ in said}
    assert [topic for topic, key in keys.items() if key is None] == []
    bindings = {key: operation_of(key)["bindings"]["mqtt"] for key in keys.values()}
    validators = {key: validator(next(iter(channels[key]["messages"]))) for key in keys.values()}
    for topic, payload, retain, qos in said:
        key = keys[topic]
        mqtt = bindings[key]
        assert retain is mqtt["retain"], topic
        if not payload:  # it takes back what stood
            assert retain, topic
            continue
        assert qos == mqtt.get("qos", qos), topic
        is_json = topic.split("/")[3] != "val"
        validators[key].validate(json.loads(payload) if is_json else payload.decode())
    assert {"reading", "head-status", "head-link", "runout"} <= set(keys.values())
    assert {"plain-reading", "axle-result"} & set(keys.values())


def test_the_document_has_each_topic_once_and_each_message_with_an_example_that_fits():
    addresses = [channel["address"] for channel in DOCUMENT["channels"].values()]
    topics = [topic for topic in TOPICS if not topic.endswith("(will)")]
    assert len(addresses) == len(set(addresses)) == len(DOCUMENT["operations"])
    assert [a.removeprefix("levelhead/v1/{bay}/") for a in addresses][: len(topics)] == topics
    assert set(DOCUMENT["components"]["messages"]) == {n[:-2] for n in EXAMPLES} | {"plain"}
    for key, message in DOCUMENT["components"]["messages"].items():
        (example,) = message["examples"]
        validator(key).validate(example["payload"])


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_schema_put_together_has_no_reference_left_and_lets_through_the_same(name):
    apart, together = schema(name), whole(schema(name))
    assert "$ref" not in json.dumps(together)
    fields = json.loads(EXAMPLES[name].encode())
    odd = [{**fields, key: value} for key in fields for value in (None, [], "?", -1.5)]
    for each in [fields, *odd]:
        verdicts = [jsonschema.Draft7Validator(s).is_valid(each) for s in (apart, together)]
        assert verdicts[0] == verdicts[1], each


def test_a_fixed_level_counts_before_a_variable_one():
    channels = DOCUMENT["channels"]
    root = "levelhead/v1/bay1/"
    found = {
        "evt/job": "job-event",
        "evt/stop-taken": "event",
        "head/alder/runout": "runout",
        "head/alder/incl_y": "reading",
        "axle/1/left/camber": "axle-result",
        "cmd/job-done": "job-done",
        "val/vehicle/thrust": "plain-vehicle-result",
        "head/alder/odd": None,
        "axle/1/middle/camber": None,
        "head/alder": None,
    }
    assert {topic: address_of(root + topic, channels) for topic in found} == found


def test_no_broker_of_anybody_is_named():
    hosts = [server["host"] for server in DOCUMENT["servers"].values()]
    assert all(re.fullmatch(r"localhost:.*|\{host\}:8883", host) for host in hosts)
    # RFC 2606: no host has a name under .example.
    assert DOCUMENT["servers"]["workshop"]["variables"]["host"]["default"].endswith(".example")
    assert not re.search(r"https?://(?!json-schema)", json.dumps(DOCUMENT))


def test_only_requests_need_a_technician():
    asks = {n for n, o in DOCUMENT["operations"].items() if o["action"] == "receive"}
    held = {n for n, o in DOCUMENT["operations"].items() if "security" in o}
    assert asks == held
    assert len(asks) == sum(topic.startswith("cmd/") for topic in TOPICS)


def test_the_command_prints_it_and_the_page_needs_nothing_from_elsewhere(capsys):
    assert main(["schemas", "--asyncapi"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(DOCUMENT))
    assert main(["schemas", "--page"]) == 0
    page = capsys.readouterr().out
    assert not re.search(r"<(script|link|img)|https?://|@import", page)
    for channel in DOCUMENT["channels"].values():
        assert f"<h2><code>{channel['address']}</code></h2>" in page
