"""What a person needs to know about the way to the broker."""

from dataclasses import dataclass
from enum import StrEnum


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
