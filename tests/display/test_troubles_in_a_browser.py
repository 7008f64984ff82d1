"""The page in a real browser while its surroundings fail: clocks, tabs, heads, the broker.

What is done and expected stands in ``page/troubles.mjs``; the messages come from an MQTT client
that is none of ours.
"""

import asyncio

import pytest

from tests.display.staging import shown_in
from tools.rehearsal.driving import figures_of


@pytest.mark.real
def test_a_wrong_clock_two_tabs_a_lost_head_and_a_broker_that_comes_back(real_part):
    told = asyncio.run(
        shown_in(
            real_part("chromium"),
            "troubles.mjs",
            lambda stage: {"please cut": stage.cut, "please mend": stage.mend},
        )
    )
    figures_of(told)  # raises where it did not hold
    assert {"please cut", "please mend"} <= set(told)
