"""What can happen at the bench (events), and what the bench wants done (effects)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from calibration.bench.capture import Refused, Settled
from calibration.bench.procedure import Row, Target
from calibration.bench.steps import Step


class Answered(StrEnum):
    """Words with a meaning of their own; Enter alone means: it is in place, take it."""

    UNDO = "u"
    OTHER = "o"
    ON = "go"
    BACK = "back"
    CANCEL = "x"
    LEAVE = "quit"


@dataclass(frozen=True, slots=True)
class Typed:
    """The technician typed a line."""

    text: str


@dataclass(frozen=True, slots=True)
class Read:
    """Every head of the step stood still and was read; ``stamps`` are columns for each row."""

    readings: Mapping[str, Settled]
    stamps: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Unread:
    """A head moved while it was read."""

    head: str
    refused: Refused


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording ended; ``broken`` says why it is of no use, "" where it is whole."""

    rows: tuple[Row, ...]
    broken: str = ""


@dataclass(frozen=True, slots=True)
class Did:
    """Something that was to be done is done, or not; ``stop`` ends the work."""

    said: str
    well: bool = True
    stop: bool = False


Event = Typed | Read | Unread | Recorded | Did


@dataclass(frozen=True, slots=True)
class Begin:
    """Read the heads of a step at the target, as soon as they are still."""

    step: Step
    target: Target


@dataclass(frozen=True, slots=True)
class Record:
    """Start the recording of a step."""

    step: Step


@dataclass(frozen=True, slots=True)
class Cancel:
    """Read and record no further."""


@dataclass(frozen=True, slots=True)
class Save:
    """Put these rows in the file, whole or not at all."""

    path: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Do:
    """Do the work of a step (fit, verify, sign, ...), and say how it went."""

    step: Step


@dataclass(frozen=True, slots=True)
class Leave:
    """The work is over, or broken off."""


Effect = Begin | Record | Cancel | Save | Do | Leave
