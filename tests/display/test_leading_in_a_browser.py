"""Steps of a job that the service refuses, or would, led on the page in a real browser.

What is done and expected stands in ``page/leading.mjs``; the messages come from an MQTT client
that is none of ours.
"""

import asyncio

import pytest

from tests.display.staging import shown_in
from tools.rehearsal.driving import figures_of


@pytest.mark.real
def test_reasons_are_asked_for_and_a_sweep_is_warned_of_in_both_languages(real_part):
    told = asyncio.run(shown_in(real_part("chromium"), "leading.mjs", lambda stage: {}))
    figures_of(told)  # raises where it did not hold
