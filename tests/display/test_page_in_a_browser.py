"""The page in a real browser: every view and state on three screens, hostile messages, lost links.

What is done and expected stands in ``page/browser.mjs``; the messages come from an MQTT client that
is none of ours, accessibility is judged by axe-core by WCAG 2.2 AA.
"""

import asyncio

import pytest

from tests.display.staging import shown_in
from tools.rehearsal.driving import figures_of

RATIO_OF_A_BUSY_MACHINE = 5

"""The figures are told, and bounded loosely here: other tests run beside this one."""


@pytest.mark.real
def test_every_view_and_state_in_a_browser(real_part):
    told = asyncio.run(
        shown_in(
            real_part("chromium"),
            "browser.mjs",
            lambda stage: {"ready to be cut off": stage.freeze},
        )
    )
    figures = figures_of(told)
    print(figures)
    assert figures["p95_ms"] < 120 * RATIO_OF_A_BUSY_MACHINE
    assert figures["lost_after_ms"] < 2000 + 500 * RATIO_OF_A_BUSY_MACHINE
