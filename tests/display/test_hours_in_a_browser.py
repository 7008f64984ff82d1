"""An hour of live data in a real browser: the page takes no more at its end than in its middle.

Chromium itself says what its script holds after a collection of garbage, and how many elements and
listeners there are (DevTools protocol, ``HeapProfiler.collectGarbage`` and
``Performance.getMetrics``). The clock is moved by hand, what the broker says comes as MQTT packets
through the page's own client (``tools/rehearsal/page/inner.js``). ``tools/figures hours`` does
eight hours.
"""

import pytest

from tools.rehearsal.driving import driven, page_alone, taken

MINUTES, BETWEEN, LIVE_MS = 64, 16, 500
"""Marks are whole cycles of the views apart, so that the same view is looked at."""
NOISE_KB = 250.0
"""Compiled code and caches come and go by that much; a point kept of each message would be 5 MB."""


@pytest.mark.real
def test_an_hour_of_messages_leaves_nothing_behind(real_part):
    chromium = real_part("chromium")
    with page_alone() as url:
        told = driven("hours.mjs", url, chromium, MINUTES, BETWEEN, LIVE_MS, within_s=300)
    marks = told["marks"]
    assert len({each["view"] for each in marks}) == 1
    assert taken(marks, "nodes", 32) <= 0
    assert taken(marks, "listeners", 32) <= 0
    assert taken(marks, "heap_kB", 32) < NOISE_KB
