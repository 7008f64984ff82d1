"""The AsyncAPI document held to the official parser, and its schemas to ajv as well as jsonschema:
both let through every message of a replayed capture, and both refuse the same broken ones."""

import copy
import functools
import json
import subprocess
from pathlib import Path

import jsonschema
import pytest

from ingest.capture.reader import read_capture
from ingest.payload.asyncapi import address_of, asyncapi
from ingest.service.player import Player

HERE = Path(__file__).parent
CAPTURE = HERE.parent / "cases" / "swinging-head" / "capture.mcap"
DOCUMENT = asyncapi()
MESSAGES = DOCUMENT["components"]["messages"]


@functools.cache
def message_on(topic):
    return next(iter(DOCUMENT["channels"][address_of(topic, DOCUMENT["channels"])]["messages"]))


class Said(list):
    """An outlet that keeps message name and payload."""

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        if payload:
            self.append([message_on(topic), json.loads(payload)])

    def reply(self, request, payload):
        self.publish(request.reply_topic, payload, retain=False, qos=1, expiry_s=None)


def captured():
    said = Said()
    player = Player("capture", read_capture(CAPTURE).records, said)
    for record in player.records:
        player.play(record)
    return said


def broken():
    """Each example with one key at a time gone, or of another kind."""
    for name, message in MESSAGES.items():
        example = message["examples"][0]["payload"]
        if isinstance(example, str):
            yield [name, example.replace(" ", "  ")]
            continue
        for key in example:
            yield [name, {k: v for k, v in example.items() if k != key}]
            yield [name, {**copy.deepcopy(example), key: [example[key]]}]


def spoilt():
    """The document with faults that the parser must see."""
    bad = copy.deepcopy(DOCUMENT)
    bad["operations"]["say-reading"]["channel"]["$ref"] = "#/channels/nowhere"
    bad["channels"]["reading"]["address"] = 7
    return bad


def held(node, bad, said):
    program, environment = node
    done = subprocess.run(
        [program, HERE / "contract.cjs"],
        input=json.dumps({"document": DOCUMENT, "bad": bad, "said": said}),
        capture_output=True,
        text=True,
        env=environment,
        timeout=60,
        check=True,
    )
    return json.loads(done.stdout)


@pytest.mark.real
def test_the_official_parser_takes_the_document_and_two_validators_say_the_same(node):
    good = captured()
    good += [[name, message["examples"][0]["payload"]] for name, message in MESSAGES.items()]
    odd = list(broken())
    assert len(good) > 500
    found = held(node, spoilt(), good + odd)
    assert found["complaints"] == []
    assert len(found["bad"]) >= 2
    assert (found["version"], found["channels"]) == ("3.0.0", len(DOCUMENT["channels"]))
    ours = {
        name: jsonschema.Draft7Validator(message["payload"]["schema"])
        for name, message in MESSAGES.items()
    }
    refused = [
        at for at, (name, each) in enumerate(odd, len(good)) if not ours[name].is_valid(each)
    ]
    assert found["refused"] == refused
    assert len(refused) > len(odd) / 2
