"""What a display may ask for, and the one answer that each request gets."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Literal

from pydantic import Field

from ingest.payload.base import (
    COMMAND_LIMIT_BYTES,
    Level,
    Message,
    NonNegative,
    PayloadError,
    SideWord,
    UtcTime,
)
from ingest.payload.command import Command
from ingest.payload.job_cmd import JOB_COMMANDS


class HeadCommand(Command):
    """A request of one head."""

    head: Level
    """The head's present name, as it stands in its topics."""


class StopTake(HeadCommand):
    """``cmd/stop-take``: take the present position as a stop."""


class TurnBegin(HeadCommand):
    """``cmd/turn-begin``: begin to collect a turn of the wheel."""


class TurnEnd(HeadCommand):
    """``cmd/turn-end``: the turn is over; fit it."""


class PushBegin(Command):
    """``cmd/push-begin``: begin to collect one push of the vehicle, on every mounted head."""


class PushEnd(Command):
    """``cmd/push-end``: the vehicle stands; fit each wheel that was turned by the push."""


class SweepBegin(Command):
    """``cmd/sweep-begin``: begin to collect a steering sweep, straight ahead at first."""

    axle: int = Field(ge=1, le=32)
    """The steered axle, counted from 1 at the front."""
    stops: bool = False
    """It goes to the stops, and tells the lock angles, too."""


class SweepEnd(Command):
    """``cmd/sweep-end``: the sweep is over; fit the steering axes of both wheels."""

    axle: int = Field(ge=1, le=32)
    """The axle whose sweep it is."""


class Identify(HeadCommand):
    """``cmd/identify``: let the head show itself."""


class Name(HeadCommand):
    """``cmd/name``: give the head another name."""

    name: Level
    """The new name: 1 to 32 of a-z, 0-9, _ and -."""


class Wheel(HeadCommand):
    """``cmd/wheel``: the head is on this wheel."""

    axle: int = Field(ge=1, le=32)
    """The axle, counted from 1 at the front."""
    side: SideWord
    """The side, seen in the direction of travel."""


class Unmount(HeadCommand):
    """``cmd/unmount``: the head is on no wheel any more."""


COMMANDS: Mapping[str, type[Command]] = MappingProxyType(
    {
        "stop-take": StopTake,
        "turn-begin": TurnBegin,
        "turn-end": TurnEnd,
        "push-begin": PushBegin,
        "push-end": PushEnd,
        "sweep-begin": SweepBegin,
        "sweep-end": SweepEnd,
        "identify": Identify,
        "name": Name,
        "wheel": Wheel,
        "unmount": Unmount,
        **JOB_COMMANDS,
    }
)
"""Every command by the last level of its topic."""


def read_command(name: str, payload: bytes) -> Command:
    """Read a request. Raises ``PayloadError`` whose code is a reply code."""
    model = COMMANDS.get(name)
    if model is None:
        raise PayloadError("unknown-command", f"no command {name}: try {', '.join(COMMANDS)}")
    if len(payload) > COMMAND_LIMIT_BYTES:
        raise PayloadError(
            "too-large", f"{len(payload)} bytes; a request has at most {COMMAND_LIMIT_BYTES}"
        )
    return model.decode(payload)


@dataclass(frozen=True, slots=True)
class Request:
    """A command as it arrived: what is asked, and where the one answer goes.

    ``reply_topic`` is None when there is nowhere to answer; it always lies under ``reply/``.
    ``correlation`` is the asker's own mark, handed back with the answer.
    """

    name: str
    command: Command
    reply_topic: str | None
    correlation: bytes | None
    user: str | None = None
    """Who asks, as the topic names them: the broker's permissions let nobody use another's name.
    None where the topic names nobody; what stands in a message anybody can write."""


ReplyCode = Literal[
    "ok",
    "partly",
    "bad-json",
    "bad-field",
    "too-large",
    "unknown-command",
    "unknown-head",
    "head-offline",
    "head-moving",
    "head-refused",
    "head-silent",
    "name-taken",
    "wheel-taken",
    "not-mounted",
    "not-turning",
    "already-turning",
    "not-sweeping",
    "already-sweeping",
    "refused",
    "busy",
    "not-supported",
    "not-permitted",
    "no-job",
    "job-open",
    "job-over",
    "not-begun",
    "out-of-order",
    "intake",
    "not-ready",
    "not-settled",
    "not-found",
    "outside",
    "stale",
    "no-plan",
    "unknown-vehicle",
    "unknown-limits",
    "store",
    "failed",
]


class Reply(Message):
    """``reply/{client}``: the one answer to a request."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"code": "failed"})

    t: UtcTime
    id: str = Field(max_length=36)
    """The request's id; empty when it could not be read."""
    ok: bool
    code: ReplyCode
    """``partly``: done, but for what the text names."""
    text: str = Field(max_length=200)
    retry_s: NonNegative | None = None
