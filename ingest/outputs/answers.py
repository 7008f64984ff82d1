"""What a broker's answers mean: taken in, turned away for good or for now, thrown out."""

from dataclasses import dataclass

from paho.mqtt.reasoncodes import ReasonCode

from ingest.core.errors import OutputError

_UNSUPPORTED_VERSION = 0x84
_KEEPALIVE = 0x8D
_TAKEN_OVER = 0x8E
_ASK_A_PERSON = frozenset({0x85, 0x86, 0x87, 0x8A, 0x8C})
"""Refusals that trying again does not mend: client id, credentials, permission, ban, method."""

YOUNG_S = 2.0
YOUNG_ENDINGS = 3
"""So many connections in a row, each ended within ``YOUNG_S`` of being accepted, mean that
another client has our id: each of the two throws the other out."""


class VersionRefused(OutputError):
    """The broker does not speak this version of MQTT; an older one may do."""


class Unanswered(OutputError):
    """The broker was reached and did not answer: so some do that do not know the version."""


@dataclass(frozen=True, slots=True)
class Ending:
    """How a connection ended. ``taken_over``: another client came with the same id."""

    reason: str
    taken_over: bool = False


class Endings:
    """Tells connections that are lost from those that another client with our id ends."""

    def __init__(self) -> None:
        self._young = 0

    def mean_id_in_use(self, ending: Ending, lasted_s: float) -> bool:
        """Take one more ending; say whether it and those before mean that."""
        self._young = self._young + 1 if lasted_s < YOUNG_S else 0
        return ending.taken_over or self._young >= YOUNG_ENDINGS


def check_accepted(where: str, code: ReasonCode | None) -> None:
    """Return when the broker took us in; None stands for a connection that just closed.

    Raises ``VersionRefused``, ``Unanswered``, or an ``OutputError`` that says whether trying
    again can help.
    """
    if code is None:
        raise Unanswered(where, "closed before it answered")
    if not code.is_failure:
        return
    if code.value == _UNSUPPORTED_VERSION:
        raise VersionRefused(where, "does not speak this version of MQTT")
    retryable = code.value not in _ASK_A_PERSON
    raise OutputError(where, f"refused: {str(code).lower()}", retryable=retryable)


def ending_of(code: ReasonCode, *, by_broker: bool) -> Ending:
    """Return how a connection ended, from the reason that the client library gives."""
    if by_broker:
        return Ending(f"closed by the broker: {str(code).lower()}", code.value == _TAKEN_OVER)
    return Ending("no answer to a ping" if code.value == _KEEPALIVE else "connection lost")
