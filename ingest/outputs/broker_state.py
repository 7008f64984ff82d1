"""What a person needs to know about the way to the broker."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

log = logging.getLogger(__name__)


class BrokerCondition(StrEnum):
    """In one word."""

    CONNECTED = "connected"
    UNREACHABLE = "unreachable"
    """Nobody answers there, or not in time; tried again by itself."""
    REFUSED = "refused"
    """The broker or its certificate says no; a person must act."""
    LOST = "lost"
    """It was connected; being tried again."""
    ID_IN_USE = "client-id-in-use"
    """Another client has our client id; a person must act."""
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class BrokerState:
    """A condition, and one line for a person."""

    condition: BrokerCondition
    text: str


class StateTeller:
    """Logs each change once, and hands it on."""

    def __init__(self, on_state: Callable[[BrokerState], None]) -> None:
        self._on_state = on_state
        self._told: BrokerState | None = None

    def tell(self, condition: BrokerCondition, text: str) -> None:
        """Take note of how it stands now."""
        state = BrokerState(condition, text)
        if state == self._told:
            return
        self._told = state
        calm = condition in (BrokerCondition.CONNECTED, BrokerCondition.STOPPED)
        log.log(logging.INFO if calm else logging.WARNING, "%s", text)
        self._on_state(state)
