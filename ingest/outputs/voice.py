"""What an outlet says of the service by itself, and whom it tells."""

from collections.abc import Callable
from dataclasses import dataclass

from ingest.outputs.broker_state import BrokerState
from ingest.payload.cmd import Request


@dataclass(frozen=True, slots=True)
class Voice:
    """The service's own words, and its ears.

    ``birth`` returns the present ``svc/status`` payload; it is asked at each connection, and
    sent after all descriptions. ``farewell`` returns that of a clean stop. ``on_request``
    gets each command; an exception out of it reaches the event loop's handler and disturbs
    nothing. ``on_state`` is called once per change.
    """

    boot: str
    birth: Callable[[], bytes]
    farewell: Callable[[], bytes]
    on_request: Callable[[Request], None]
    on_state: Callable[[BrokerState], None]
