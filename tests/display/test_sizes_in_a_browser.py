"""How large the page is on phone, tablet and wall: characters at 5 m, targets for a finger.

What is done and expected stands in ``page/sizes.mjs``, with the sources of its figures.
"""

import asyncio

import pytest

from tests.display.staging import shown_in
from tools.rehearsal.driving import figures_of


@pytest.mark.real
def test_what_is_read_is_large_enough_and_what_is_pressed_too(real_part):
    told = asyncio.run(shown_in(real_part("chromium"), "sizes.mjs", lambda stage: {}))
    figures_of(told)  # raises where it did not hold
