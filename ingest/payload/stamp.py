"""Time on the wire: text that sorts like time, and a number that small clients can hold."""

from datetime import UTC, datetime
from functools import lru_cache

from ingest.core.units import NS

_MS = 1_000_000


def rfc3339(wall_ns: int) -> str:
    """Return UTC as RFC 3339 with exactly nine decimals, so that text order is time order.

    Args: wall_ns: nanoseconds since 1970, not negative.
    """
    seconds, rest = divmod(wall_ns, NS)
    return f"{_to_the_second(seconds)}.{rest:09d}Z"


@lru_cache(maxsize=8)  # hundreds of messages a second are of the same one or two
def _to_the_second(seconds: int) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}"


def epoch_ms(wall_ns: int) -> int:
    """Return whole milliseconds since 1970, rounded down; safe in a double for long."""
    return wall_ns // _MS


def epoch_ms_of(text: str) -> int:
    """Return the same of a moment as ``rfc3339`` wrote it."""
    whole, _, decimals = text.removesuffix("Z").partition(".")
    seconds = round(datetime.fromisoformat(whole).replace(tzinfo=UTC).timestamp())
    return epoch_ms(seconds * NS + int(decimals))
