"""What is done with a message breaks no listener: the next one is heard, and a line is logged."""

import asyncio
import logging
from types import SimpleNamespace

from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings


def test_a_listener_outlives_what_is_done_with_a_message(kit, caplog):
    heard = []

    def odd(topic, payload, _retained):
        heard.append(topic)
        raise {b"key": KeyError("P"), b"type": TypeError("none")}[payload]

    async def hand_over():
        listener = Listener(BrokerSettings(), kit.topics, [], odd)
        with caplog.at_level(logging.WARNING):
            for payload in (b"key", b"type"):
                listener._hand_over(SimpleNamespace(topic="a/b", payload=payload, retain=False))

    asyncio.run(hand_over())
    assert heard == ["a/b", "a/b"]
    assert [record.getMessage().count("\n") for record in caplog.records] == [0, 0]
    assert all("a/b" in record.getMessage() for record in caplog.records)
