# ruff: noqa: N815 - a quantity and its U are spelt as on the wire.
"""The job as displays see it: where it stands, the present task, what to do now.

All are retained, so that any display can join at any time; flat, and small.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal

from pydantic import Field

from ingest.payload.base import (
    Count,
    Decision,
    Id,
    Judged,
    Level,
    NonNegative,
    Number,
    Stamped,
    Unit,
)

DoingWord = Literal[
    "mount",
    "tape",
    "turn",
    "lower",
    "sweep",
    "settle",
    "find",
    "adjust",
    "tighten",
    "resweep",
    "leave",
]


class JobState(Stamped):
    """``job/state``."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"phase": "none"})

    job: Id | None
    phase: Literal["none", "intake", "work", "over"]
    order: str = Field(default="", max_length=40)
    vehicle: str = Field(default="", max_length=64)
    limits: str = Field(default="", max_length=64)
    task: str = Field(default="", max_length=32)
    done: Count = 0
    of: Count = 0
    """Tasks that are done or left out, of all."""
    mountings: Count = 0
    stale: Count = 0
    """Results of this job that hold no longer."""
    finished: bool | None = None
    """None while the job is open; false where it was given up."""
    event: Count = 0
    """Number of the newest event."""


class JobStep(Stamped):
    """``job/step``: the present task. An empty ``task`` where there is none."""

    job: Id | None
    task: str = Field(max_length=32)
    doing: DoingWord | Literal["none"]
    title: str = Field(max_length=80)
    set_up: Count = 0
    axles: str = Field(default="", max_length=32)
    """Joined by a plus sign."""
    off: str = Field(default="", max_length=32)
    """Axles whose heads come off first, joined likewise."""
    results: str = Field(default="", max_length=120)
    """Topics below the bay that it measures or watches, joined by a plus sign; cut where long."""
    why: str = Field(default="", max_length=120)
    stops: bool = False
    """Whether a sweep is to go to the stops: ``sweep-begin`` is then to say so."""


class JobGuidance(Stamped):
    """``job/guidance``: what to do now."""

    job: Id | None
    task: str = Field(max_length=32)
    title: str = Field(max_length=80)
    text: str = Field(max_length=200)
    ready: bool
    """Whether the task can be finished now."""
    lacks: str = Field(default="", max_length=200)
    """What the bay still waits for, joined by semicolons: as much as the message has room for."""
    asks: str = Field(default="", max_length=80)
    """Requests that make sense now, joined by a plus sign, the usual one first."""
    item: Level | None = None
    """The item of the intake that ``job-check`` would answer now."""
    waits: str = Field(default="", max_length=120)
    """What a sweep would be refused for if it were begun now, joined by semicolons."""


class JobCaution(Stamped):
    """``job/caution``: the cautions of the present task, each on a line of its own.

    Larger than what a display must be able to read: safety is not cut short.
    """

    job: Id | None
    task: str = Field(max_length=32)
    text: str = Field(default="", max_length=2000)


class JobAdvice(Stamped):
    """``job/advice``: what to turn in the present task, each part on a line of its own.

    It follows what is measured, once a second. Larger than what a small display must read.
    """

    job: Id | None
    task: str = Field(max_length=32)
    text: str = Field(default="", max_length=900)


class JobLive(Judged):
    """``job/live``: the value that is being adjusted, ten times a second.

    ``value`` follows the vehicle while it is turned at; it is a result only once it is settled.
    """

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "dec": "none"})

    job: Id
    task: str = Field(max_length=32)
    topic: str = Field(max_length=64)
    """Below the bay: the result that it will be."""
    value: Number | None
    unit: Unit
    U: NonNegative | None
    k: NonNegative | None
    dp: int = Field(ge=0, le=9)
    lo: Number | None = None
    hi: Number | None = None
    dec: Decision = "none"
    moving: bool
    go: Number | None = None
    """How far to the target, in the value's unit; None where the value is not known."""
    todo: str = Field(default="", max_length=120)
    """Which way and how far, in the adjuster's own unit and in words."""
    lag_ms: NonNegative = 0
    ttl: NonNegative = 1


class JobLine(Stamped):
    """``job/line-{n}``: one result of the job, as it was found and as it is left.

    Counted from 1, in the order of the report; cleared when another job is opened.
    """

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"found_dec": "none", "left_dec": "none"})

    job: Id
    topic: str = Field(max_length=64)
    """Below the bay: the result that it tells of."""
    unit: Unit
    found: Number | None = None
    found_U: NonNegative | None = None
    found_k: NonNegative | None = None
    found_dp: int = Field(default=0, ge=0, le=9)
    found_dec: Decision = "none"
    left: Number | None = None
    """What holds at the end; as found where nothing was turned (``untouched``)."""
    left_U: NonNegative | None = None
    left_k: NonNegative | None = None
    left_dp: int = Field(default=0, ge=0, le=9)
    left_dec: Decision = "none"
    lo: Number | None = None
    hi: Number | None = None
    untouched: bool = False
    stale: bool = False
    """It holds no longer: something was turned or moved that it stands on."""


class JobEvent(Stamped):
    """``evt/job``: one event of the job, told once; ``job-events`` has it told again."""

    job: Id
    number: Count
    by: str = Field(max_length=32)
    kind: Level
    task: str = Field(default="", max_length=32)
    text: str = Field(default="", max_length=200)
    again: bool = False
