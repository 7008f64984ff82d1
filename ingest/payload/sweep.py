# ruff: noqa: N815 - a quantity and its U are spelt as on the wire.
"""A steering sweep of one wheel: where it is and what it needs, and what came of it."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from ingest.payload.base import Count, Id, Judged, NonNegative, Number, SideWord, Why

SweepState = Literal["sweeping", "done", "refused"]


class Sweep(Judged):
    """``head/{head}/sweep``. Angles in degrees.

    ``need`` is what the person at the steering wheel is asked for next, ``trouble`` what goes wrong
    just now or holds the sweep up; both are empty where there is nothing. The results themselves
    stand under ``axle/``. A refused one names its reason in ``why``, with the ``figure`` that was
    held against ``limit``.
    """

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "state": "refused"})

    id: Id
    boot: Id
    seq: Count
    axle: int = Field(ge=1)
    side: SideWord
    state: SweepState
    steer: Number | None = None
    """Where the wheel is now, from straight ahead, left positive; null while it is not read."""
    left: NonNegative = 0.0
    """How far it has been steered to the left ..."""
    right: NonNegative = 0.0
    """... and to the right, both positive."""
    target: NonNegative = 0.0
    """How far to steer to each side."""
    need: Why = ""
    """``steer-left``, ``steer-right``, ``back-to-straight-ahead``, ``more-readings``."""
    trouble: Why = ""
    """``sightline-lost`` (the steering is not read), ``too-fast``, ``not-far-enough``,
    ``not-held`` (brake or lock gave way), ``not-closed`` (out and back differ), ``sign``,
    ``scatter``."""
    by: Literal["", "steer", "azimuth_cross", "azimuth_track"] = ""
    """What tells the steering: ``steer`` (the turn plate), a sightline; empty
    where the sweep is over."""
    do: str = Field("", max_length=200)
    """What to do about the trouble, in words; empty where there is none."""
    n: Count
    """Readings that are kept so far."""
    caster: Number | None = None
    """So far, for the person who steers; to gravity."""
    caster_U: NonNegative | None = None
    k: NonNegative | None = None
    dp: int = Field(ge=0, le=9)
    unit: Literal["deg"] = "deg"
    figure: Number | None = None
    limit: Number | None = None
    ttl: NonNegative

    @model_validator(mode="after")
    def _refused_is_bad(self) -> Self:
        if self.state == "refused" and self.q != "bad":
            raise ValueError(f"refused, and q is {self.q}")
        if self.caster_U is not None and (self.caster is None or self.k is None):
            raise ValueError("caster_U without its value or k")
        return self
