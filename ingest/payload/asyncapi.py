"""The AsyncAPI 3.0 document of a bay: channels, who sends what, messages with an example of each.

All of it is made from the topics, the models and their examples. The schemas stand in the messages
whole, without references of their own, since AsyncAPI resolves references from the document's root.
"""

import inspect
import json
import re
from collections.abc import Iterator
from enum import Enum
from typing import Any

from ingest.core.channels import CHANNELS
from ingest.payload.asyncapi_servers import SECURITY, SERVERS
from ingest.payload.base import Message
from ingest.payload.command import Command
from ingest.payload.examples import EXAMPLES
from ingest.payload.plain import PLAIN_ADDRESSES, PLAIN_EXAMPLE, PLAIN_SCHEMA
from ingest.payload.schemas import TOPICS, schema
from ingest.payload.svc import API
from ingest.payload.topics import RESERVED_HEAD_LEVELS, ROOT

Json = dict[str, Any]

DRAFT_07 = "application/schema+json;version=draft-07"
MQTT = "0.2.0"
"""Version of the binding."""
WILL = " (will)"


class Manner(Enum):
    """How a topic is published: retained or not, its QoS, and what that means, in words."""

    STATE = (True, 1, "Retained: it stands until it is said otherwise; an empty message clears it.")
    LIVE = (True, 0, "Live: soon replaced, stale after `ttl` seconds; a retained one is the last "
            "that was known, never live.")  # fmt: skip
    LIVE_THEN_STATE = (True, None, "Live (QoS 0) while it goes on, retained state (QoS 1) when it "
                       "is over.")  # fmt: skip
    NEWS = (False, 1, "Said once, never retained.")
    REQUEST = (False, 1, "Never retained: a retained request is passed over. With a login it is "
               "sent one level below, under the user's own name, such as `cmd/identify/ines`: "
               "permissions hold that level, and the service knows who asks.")  # fmt: skip
    PLAIN = (False, 0, "Said again every second, never retained: after three seconds of silence "
             "nothing is known.")  # fmt: skip


MANNERS = {
    "head/{head}/link": Manner.LIVE,
    "head/{head}/{channel}": Manner.LIVE,
    "head/{head}/runout": Manner.LIVE_THEN_STATE,
    "head/{head}/sweep": Manner.LIVE_THEN_STATE,
    "job/live": Manner.LIVE,
    "evt/{kind}": Manner.NEWS,
    "evt/job": Manner.NEWS,
    "reply/{client}": Manner.NEWS,
}
"""Topics that are not plain state."""

LEVEL = "1 to 32 of a-z, 0-9, _ and -"
PARAMETERS: dict[str, Json] = {
    "bay": {"description": f"Name of the bay: {LEVEL}.", "examples": ["bay1"]},
    "head": {"description": f"Present name of a head: {LEVEL}.", "examples": ["alder"]},
    "channel": {"description": "What is read.", "enum": [channel.value for channel in CHANNELS]},
    "n": {"description": "Axle, counted from 1 at the front.", "examples": ["1"]},
    "side": {"description": "Side, or both.", "enum": ["left", "right", "both"]},
    "qty": {"description": "Quantity, see svc/meta.", "examples": ["camber"]},
    "code": {"description": "What the alert is about.", "examples": ["clock-off"]},
    "kind": {"description": "What kind of event.", "examples": ["stop-taken"]},
    "client": {
        "description": "Who asked: its user name at the broker, so that permissions can hold it.",
        "examples": ["display-2"],
    },
}


def asyncapi() -> Json:
    """Return the document, ready for JSON. The order is that of the topics."""
    messages = {key_of(name): _message(name, model) for name, model in TOPICS.values()}
    messages["plain"] = _plain_message()
    return {
        "asyncapi": "3.0.0",
        "id": "urn:levelhead",
        "info": {
            "title": "levelhead",
            "version": API,
            "description": "What a measuring bay for heavy-vehicle axle alignment says over MQTT, "
            "and what a display may ask of it. Readers pass over keys that they do not know, and "
            "take a word that they do not know for the worst. `send` is what the bay's service "
            "sends, `receive` what it takes.",
        },
        "defaultContentType": "application/json",
        "servers": SERVERS,
        "channels": dict(_channels()),
        "operations": dict(_operations()),
        "components": {
            "messages": messages,
            "parameters": PARAMETERS,
            "securitySchemes": SECURITY,
        },
    }


def key_of(name: str) -> str:
    """Return a schema's name as a key: without its version."""
    return name.partition("/")[0]


def manner_of(topic: str) -> Manner:
    """Return how a topic below the bay (with its variable levels in braces) is published."""
    if topic.startswith("cmd/"):
        return Manner.REQUEST
    return Manner.PLAIN if topic.startswith("val/") else MANNERS.get(topic, Manner.STATE)


def address_of(topic: str, channels: Json) -> str | None:
    """Return the key of the channel that a topic of a bay belongs to; None where there is none.

    A fixed level counts before a variable one: ``evt/job`` is not ``evt/{kind}``.
    """
    fits = [key for key, channel in channels.items() if _matches(channel["address"], topic)]
    return min(fits, key=lambda key: channels[key]["address"].count("{"), default=None)


def _matches(address: str, topic: str) -> bool:
    pattern = re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>[^/]+)", re.escape(address))
    found = re.fullmatch(pattern, topic)
    if found is None or found.groupdict().get("channel") in RESERVED_HEAD_LEVELS:
        return False
    return all(
        value in PARAMETERS[name].get("enum", [value]) for name, value in found.groupdict().items()
    )


def _channels() -> Iterator[tuple[str, Json]]:
    for topic, (name, model) in TOPICS.items():
        if topic.endswith(WILL):
            continue
        key = key_of(name)
        will = TOPICS.get(topic + WILL)
        said = [key] if will is None else [key, key_of(will[0])]
        yield key, _channel(topic, said, _about(model))
    for key, topic in PLAIN_ADDRESSES.items():
        yield key, _channel(topic, ["plain"], "The plain mirror, where it is switched on.")


def _channel(topic: str, messages: list[str], about: str) -> Json:
    address = f"{ROOT}/{{bay}}/{topic}"
    levels = re.findall(r"\{(\w+)\}", address)
    return {
        "address": address,
        "description": f"{about}\n\n{manner_of(topic).value[2]}",
        "messages": {key: {"$ref": f"#/components/messages/{key}"} for key in messages},
        "parameters": {level: {"$ref": f"#/components/parameters/{level}"} for level in levels},
    }


def _operations() -> Iterator[tuple[str, Json]]:
    for key, channel in _channels():
        topic = channel["address"].removeprefix(f"{ROOT}/{{bay}}/")
        asked = topic.startswith("cmd/")
        retain, qos, _ = manner_of(topic).value
        binding = {"retain": retain, "qos": qos, "bindingVersion": MQTT}
        found: Json = {
            "action": "receive" if asked else "send",
            "channel": {"$ref": f"#/channels/{key}"},
            "messages": [{"$ref": f"#/channels/{key}/messages/{m}"} for m in channel["messages"]],
            "bindings": {"mqtt": {k: v for k, v in binding.items() if v is not None}},
        }
        if asked:
            found["security"] = [{"$ref": "#/components/securitySchemes/technician"}]
            found["reply"] = {
                "channel": {"$ref": "#/channels/reply"},
                "messages": [{"$ref": "#/channels/reply/messages/reply"}],
            }
        yield ("take-" if asked else "say-") + key, found


def _message(name: str, model: type[Message]) -> Json:
    example = json.loads(EXAMPLES[name].encode())
    if issubclass(model, Command):
        example = {key: value for key, value in example.items() if value is not None}
    return {
        "name": name,
        "title": key_of(name).replace("-", " "),
        "contentType": "application/json",
        "description": _about(model),
        "payload": {"schemaFormat": DRAFT_07, "schema": whole(schema(name))},
        "examples": [{"name": "example", "payload": example}],
        "bindings": {
            "mqtt": {
                "payloadFormatIndicator": 1,
                "contentType": "application/json",
                "bindingVersion": MQTT,
            }
        },
    }


def _plain_message() -> Json:
    return {
        "name": "plain/1",
        "title": "plain mirror",
        "contentType": "text/plain",
        "description": "Value, U, unit, decision and quality, with one space between; a dash where "
        "there is none. ASCII, 64 bytes at most.",
        "payload": {"schemaFormat": DRAFT_07, "schema": PLAIN_SCHEMA},
        "examples": [{"name": "example", "payload": PLAIN_EXAMPLE}],
    }


def _about(model: type[Message]) -> str:
    return inspect.cleandoc(model.__doc__ or "").replace("``", "`")


def whole(found: Json) -> Json:
    """Return a schema with what it refers to put in its place. No schema of ours refers to itself.

    ``$id`` and ``$schema`` are left out: the message has the name and the format.
    """
    parts = found.get("$defs", {})

    def put(part: Any) -> Any:
        if isinstance(part, list):
            return [put(each) for each in part]
        if not isinstance(part, dict):
            return part
        if "$ref" in part:
            target = put(parts[part["$ref"].rpartition("/")[2]])
            return {**target, **{k: put(v) for k, v in part.items() if k != "$ref"}}
        return {key: put(value) for key, value in part.items()}

    kept = {k: v for k, v in found.items() if k not in ("$defs", "$id", "$schema")}
    return dict(put(kept))
