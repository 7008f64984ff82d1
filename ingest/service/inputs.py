"""All that can happen to the service. Nothing else makes it say anything.

Each input carries the moment at which it came, and all that follows from it bears that moment.
So the same inputs say the same things, whenever they are taken: live, or from a capture.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from ingest.core.errors import LinkError
from ingest.core.ids import MonotonicNs
from ingest.payload.cmd import Request
from ingest.service.alerts import Level
from ingest.service.linkkeeper import LinkChange


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant on both clocks: the host's monotonic one, and UTC since 1970, ns."""

    at_ns: MonotonicNs
    wall_ns: int


@dataclass(frozen=True, slots=True)
class Began:
    """The service starts."""


@dataclass(frozen=True, slots=True)
class Arrived:
    """Bytes came over a link; the moment is that of their arrival."""

    link: str
    data: bytes


@dataclass(frozen=True, slots=True)
class LinkIs:
    """A link changed its state. ``reconnects`` counts its openings after the first."""

    link: str
    change: LinkChange
    reconnects: int


@dataclass(frozen=True, slots=True)
class Asked:
    """A display asks for something."""

    request: Request


@dataclass(frozen=True, slots=True)
class NotSent:
    """What was to be sent to a head could not be."""

    link: str
    command_id: int
    error: LinkError


@dataclass(frozen=True, slots=True)
class Second:
    """About a second has passed. ``dropped`` counts, by link, chunks that nobody took in time."""

    dropped: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Introduced:
    """The outlet needs a fresh ``svc/status``: of a service that is online, or says goodbye."""

    state: str
    why: str


@dataclass(frozen=True, slots=True)
class Warned:
    """Something outside the bay is to be said as an alert."""

    code: str
    text: str
    level: Level = "warning"


@dataclass(frozen=True, slots=True)
class Offered:
    """What a job can be opened with now, by id and in words."""

    vehicles: tuple[tuple[str, str], ...] = ()
    limit_sets: tuple[tuple[str, str], ...] = ()


Input = Began | Arrived | LinkIs | Asked | NotSent | Second | Introduced | Warned | Offered
