"""The page in a real browser while its surroundings fail: clocks, tabs, heads, the broker.

What is done and expected stands in ``page/troubles.mjs``; the messages come from an MQTT client
that is none of ours.
"""

import asyncio
from asyncio.subprocess import PIPE, STDOUT

import pytest

from ingest.display.desk import Source
from ingest.display.server import PageServer
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings
from tests.display.driving import NODE, PAGE, TOOLS
from tests.display.test_page_in_a_browser import Freezable


@pytest.mark.real
def test_a_wrong_clock_two_tabs_a_lost_head_and_a_broker_that_comes_back(real_part):
    told = asyncio.run(shown_in(real_part("chromium")))
    assert told[-1] == "all held", "\n".join(told[-30:])
    assert {"please cut", "please mend"} <= set(told)


async def shown_in(chromium: str) -> list[str]:
    """Return what the script says; the way to the broker is cut and mended as it asks."""
    broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
    await broker.start()
    way, server = Freezable(broker.port), PageServer()
    server.join(Source("bay1", lambda: way.dial(), at_home=True))
    server.start()
    given = [str(PAGE / "troubles.mjs"), server.url, str(broker.port), chromium, str(TOOLS)]
    try:
        ran = await asyncio.create_subprocess_exec(
            NODE, *given, stdin=PIPE, stdout=PIPE, stderr=STDOUT
        )
        assert ran.stdout is not None
        assert ran.stdin is not None
        told = []
        async for line in ran.stdout:
            told.append(line.decode().rstrip())
            match told[-1]:
                case "please cut":
                    await asyncio.to_thread(way.close)
                case "please mend":
                    way = Freezable(broker.port)
                case _:
                    continue
            ran.stdin.write(b"done\n")
        await ran.wait()
        return told
    finally:
        server.stop()
        way.close()
        await broker.stop()
