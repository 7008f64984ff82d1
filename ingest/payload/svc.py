"""What the service says of itself: birth, will, description and alerts."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from ingest.payload.base import (
    Code,
    Count,
    Id,
    Judged,
    Level,
    Message,
    NonNegative,
    Number,
    Part,
    Stamped,
    Unit,
    Why,
)

API = "1.0"
"""Version of the topics and payloads: the minor part grows with every new key or topic."""

Clock = Literal["ntp", "ptp", "rtc", "none"]


class ServiceStatus(Judged):
    """``svc/status``: the birth (online), or the farewell of a clean stop (offline)."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "state": "offline"})

    state: Literal["online", "offline"]
    api: str = API
    sw: str = Field(max_length=32)
    boot: Id
    seq: Count
    heads: Count
    clock: Clock
    clock_u_ms: NonNegative | None
    """How far this host's clock may be off; None where nobody knows."""
    meta: str


class ServiceWill(Message):
    """``svc/status`` as the broker publishes it when the connection dies.

    It was fixed when the connection was made, so it knows no time.
    """

    state: Literal["offline"] = "offline"
    boot: Id
    why: Why = "connection-lost"


class QuantityMeta(Part):
    """One quantity: its unit, and what its sign and axis mean, in words."""

    qty: Level
    unit: Unit
    sign: str
    """What positive means, and relative to what."""


class DeadbandMeta(Part):
    """When a live reading is published."""

    channel: Level
    change: NonNegative
    """Smallest change that is published at once, in the channel's unit."""
    min_s: NonNegative
    """At most one message in this time."""
    max_s: NonNegative
    """At least one message in this time."""


class OfferMeta(Part):
    """Something that a job can be opened with."""

    id: Level
    """What a request names it by."""
    name: str = Field(default="", max_length=120)
    """What it is, for a person to choose by; empty where nobody says."""


MOST_OFFERED = 100
"""Vehicles, and limit sets, that are listed: a workshop with more writes the id of one."""


class ServiceMeta(Stamped):
    """``svc/meta``: what a display needs to know to read the rest. May nest."""

    api: str = API
    sw: str
    boot: Id
    bay: Level
    heads: tuple[Level, ...]
    quantities: tuple[QuantityMeta, ...]
    deadbands: tuple[DeadbandMeta, ...]
    rate_hz: NonNegative
    """Highest rate of a live topic."""
    lag_ms: NonNegative
    """Known delay of the filters."""
    spread: str = Field(default="", max_length=120)
    """What mounting and settling are taken to scatter, and by what: a study with its date, or
    what is assumed until there is one."""
    level: str = Field(default="", max_length=120)
    """What camber, caster and SAI are told against: the survey of the bay's standing points and how
    long it holds, or that there is none."""
    vehicles: tuple[OfferMeta, ...] = Field(default=(), max_length=MOST_OFFERED)
    """Vehicles that a job can be opened with, by id."""
    limit_sets: tuple[OfferMeta, ...] = Field(default=(), max_length=MOST_OFFERED)
    """Sets of limits that a job can be opened with, by id."""
    schemas: dict[str, str]
    """Schema name by topic, with the variable levels in braces."""


class Alert(Stamped):
    """``svc/alert/{code}``: something a person should know; cleared by an empty message."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"level": "danger"})

    code: Code
    level: Literal["note", "warning", "danger"]
    text: str = Field(max_length=200)
    head: Level | None = None
    figure: Number | None = None
    limit: Number | None = None

    @model_validator(mode="after")
    def _figure_has_limit(self) -> Self:
        if self.limit is not None and self.figure is None:
            raise ValueError("a limit without the figure that was held against it")
        return self
