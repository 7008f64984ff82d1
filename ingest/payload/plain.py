"""The plain mirror under ``val/``: one short line of ASCII for clients that cannot read JSON.

``-0.423 0.059 deg inside good``: value, U, unit, decision, quality. A dash stands where there is
none. A value that must not be shown is not in the line at all.
"""

from decimal import Decimal
from typing import Any

from ingest.payload.axle import AxleResult
from ingest.payload.base import UNTRUSTED
from ingest.payload.head import Reading

PLAIN_LIMIT_BYTES = 64

_FIGURE = r"(-?\d+(\.\d+)?|-)"
PLAIN_SCHEMA: dict[str, Any] = {
    "type": "string",
    "maxLength": PLAIN_LIMIT_BYTES,
    "pattern": rf"^{_FIGURE} {_FIGURE} \S+ (inside|undecided|outside|none) "
    r"(good|uncertain|bad|stale)$",
}
PLAIN_EXAMPLE = "-0.423 0.059 deg inside good"

PLAIN_ADDRESSES = {
    "plain-reading": "val/head/{head}/{channel}",
    "plain-axle-result": "val/axle/{n}/{side}/{qty}",
    "plain-vehicle-result": "val/vehicle/{qty}",
}
"""What is mirrored, by key."""


def plain(said: Reading | AxleResult, *, stale: bool = False) -> str:
    """Return the line. ``stale``: it holds no longer, whatever it says of itself."""
    if stale or said.value is None or said.q in UNTRUSTED:
        return f"- - {said.unit} none {'stale' if stale else said.q}"
    return f"{said.value:.{said.dp}f} {_u(said)} {said.unit} {said.dec} {said.q}"


def _u(said: Reading | AxleResult) -> str:
    """Return U with its own digits: those of a result's value, while a reading may have more."""
    if said.U is None:
        return "-"
    return f"{said.U:.{said.dp}f}" if isinstance(said, AxleResult) else f"{Decimal(repr(said.U)):f}"
