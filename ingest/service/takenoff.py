"""What becomes of a result when the head that read it is taken off its wheel.

A head that has gone on to the next wheel is no reason to doubt a wheel that stands: nothing has
been seen to move it, and the result says when it was read. So what was good stays good, and bears
the remark that nobody watches the wheel. It is in doubt only where the head was last seen at rest
long before it was taken off: then its wheel may be what moved.
"""

from typing import Any

TAKEN_OFF_S = 60.0
"""Whoever takes a head off has it in hand for no longer than this (ours to choose)."""

UNWATCHED = "unwatched"
UNMOUNTED = "unmounted"


def kept(fields: dict[str, Any], *, stood: bool) -> dict[str, Any]:
    """Return what is said of a result from then on; what was less than good keeps its reason.

    ``stood``: the wheel was seen to rest until its head was taken off.
    """
    if fields["q"] != "good":
        return fields
    return fields | ({"why": UNWATCHED} if stood else {"q": "uncertain", "why": UNMOUNTED})
