"""All that can have happened in a job. A job is the sum of its events; nothing else changes it.

Events are committed before anybody is told, so they say what was done and never what is still to
be worked out. They are JSON on the disk: plain values only, and never changed once released;
something new gets a key with a default.
"""

from dataclasses import dataclass, field
from typing import Literal

from ingest.job.course.readings import Reading, RunoutTaken
from ingest.job.course.tasks import Task


@dataclass(frozen=True, slots=True)
class Opened:
    """A job was opened. ``vehicle`` and ``limits`` are the texts of their files, as kept."""

    order: str
    vehicle_id: str
    vehicle: str
    limits_name: str
    limits: str
    odometer: str
    load_state: str
    head_pairs: int
    rule: str
    remark: str = ""
    simulated: bool = False
    """The heads are simulated: nothing was measured of a real vehicle."""
    kind: Literal["opened"] = "opened"


@dataclass(frozen=True, slots=True)
class Checked:
    """An item of the intake was looked at. ``state``: ok, fault, or absent (does not apply)."""

    item: str
    state: Literal["ok", "fault", "absent"]
    note: str = ""
    kind: Literal["checked"] = "checked"


@dataclass(frozen=True, slots=True)
class LevelTaken:
    """Which level record of the bay the job stands on; ``record`` is empty where there is none."""

    record: str
    age_days: float | None
    u_deg: float | None
    note: str = ""
    kind: Literal["level-taken"] = "level-taken"


@dataclass(frozen=True, slots=True)
class Planned:
    """The order of work was laid down, or anew from here on; tasks that are done stay.

    ``cannot`` names what cannot be done, and why.
    """

    tasks: tuple[Task, ...]
    cannot: tuple[str, ...] = ()
    mountings: int = 0
    kind: Literal["planned"] = "planned"


@dataclass(frozen=True, slots=True)
class Done:
    """A task is done. ``readings`` are what FIND or LEAVE measured."""

    task: str
    readings: tuple[Reading, ...] = ()
    turned: bool = True
    """For ADJUST: something was turned. Where not, what was found is what is left."""
    note: str = ""
    runouts: tuple[RunoutTaken, ...] = ()
    """For TURN: what the wheels' turns found."""
    kind: Literal["done"] = "done"


@dataclass(frozen=True, slots=True)
class Turning:
    """Somebody begins to turn an adjuster: what stands on it is stale from now on."""

    task: str
    advice: tuple[str, ...]
    stale: tuple[str, ...]
    """Topics that hold no longer."""
    fitted_rad: tuple[float, ...] = ()
    """Of wedges: those that the advice fits, left and right, thick end rear positive. The next
    advice has to know what is in."""
    kind: Literal["turning"] = "turning"


@dataclass(frozen=True, slots=True)
class Skipped:
    """A task was left out, for a reason."""

    task: str
    reason: str
    kind: Literal["skipped"] = "skipped"


@dataclass(frozen=True, slots=True)
class WentBack:
    """A task, and those that stand on it, are to be done again."""

    task: str
    reason: str = ""
    kind: Literal["went-back"] = "went-back"


@dataclass(frozen=True, slots=True)
class Disturbed:
    """Something happened to what was measured: a head knocked, a wheel moved, a clamp void."""

    topics: tuple[str, ...]
    reason: str
    lacks: Literal["", "head", "run-out", "sightline"] = ""
    """What has to come again before the task can go on, of the head on the wheel below."""
    axle: int = 0
    side: str = ""
    todo: str = ""
    """What to do about it, in words."""
    kind: Literal["disturbed"] = "disturbed"


@dataclass(frozen=True, slots=True)
class Taped:
    """A distance between hubs was measured by tape, to be held against the network's own."""

    line: str
    measured_m: float
    u_m: float
    predicted_m: float | None
    u_predicted_m: float | None
    agrees: bool | None
    kind: Literal["taped"] = "taped"


@dataclass(frozen=True, slots=True)
class Remarked:
    """Somebody wrote something down."""

    text: str
    kind: Literal["remarked"] = "remarked"


@dataclass(frozen=True, slots=True)
class Closed:
    """The job is over: ``finished``, or given up with a reason."""

    finished: bool
    reason: str = ""
    kind: Literal["closed"] = "closed"


What = (
    Opened
    | Checked
    | LevelTaken
    | Planned
    | Turning
    | Done
    | Skipped
    | WentBack
    | Disturbed
    | Taped
    | Remarked
    | Closed
)


BAY = "the bay"
"""Who is said to have brought about what the bay saw by itself."""


@dataclass(frozen=True, slots=True)
class Event:
    """What happened, when (UTC, RFC 3339), and who said so. ``number`` counts from 1 in a job."""

    number: int
    at: str
    by: str
    what: What = field()
