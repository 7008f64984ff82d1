"""A finished job of an invented vehicle, with a result of each kind."""

import math

from ingest.job.course.acts import Close, Finish, Plan, Remark, Turn
from ingest.job.course.events import Opened, Taped
from ingest.job.course.readings import LimitAt, Reading
from ingest.job.course.tasks import Doing, Task
from tests.job.course.playing import Played, begun_with
from tests.job.vehicles import SHIPPED

DEG = math.pi / 180.0
OPENED = Opened(
    order="W-204 / Halloran",
    vehicle_id="rigid-6x4",
    vehicle=SHIPPED["rigid-6x4"],
    limits_name="general, version 3",
    limits="",
    odometer="412 300 km",
    load_state="unladen",
    head_pairs=2,
    rule="guard-u",
)
ENTERED = "nominal 1/16 in, 0 to 1/8 in across 22.5 in"
TOE = LimitAt(0.0, 0.08 * DEG, 0.16 * DEG, ENTERED, "invented")
CAMBER = LimitAt(None, 0.0, 0.25 * DEG, "up to 0.25 deg", "invented")
HEADING = LimitAt(-0.06 * DEG, 0.0, 0.06 * DEG, "-0.06 to 0.06 deg", "invented")
OFFSET = LimitAt(-0.003, 0.0, 0.003, "-3 to 3 mm", "invented")
VALUES = {
    "axle/1/both/total-toe": (0.31, 0.02, TOE, 0.09),
    "axle/1/left/toe": (0.16, 0.016, None, 0.05),
    "axle/1/right/toe": (0.15, 0.016, None, 0.04),
    "axle/1/both/heading": (-0.01, 0.012, None, -0.01),
    "axle/1/left/camber": (0.31, 0.02, CAMBER, 0.31),
    "axle/1/right/camber": (0.24, 0.02, CAMBER, 0.24),
    "axle/2/both/heading": (0.22, 0.014, HEADING, 0.01),
    "axle/2/left/toe": (-0.2, 0.02, None, 0.01),
    "axle/2/right/toe": (0.24, 0.02, None, 0.02),
    "axle/2/both/lateral-offset": (2.2, 0.6, OFFSET, 2.2),
    "axle/3/both/heading": (-0.15, 0.014, HEADING, 0.02),
    "axle/3/left/toe": (0.13, 0.02, None, -0.01),
    "axle/3/right/toe": (-0.17, 0.02, None, 0.03),
    "axle/3/both/lateral-offset": (-1.1, 0.6, OFFSET, -1.1),
    "vehicle/thrust": (-0.15, 0.014, HEADING, 0.02),
}


def measured(topic: str, at: str, *, left: bool) -> Reading:
    """Return a result of the sample, judged by the plain rule that its sides differ by U."""
    found, u, limit, after = VALUES[topic]
    angular = not topic.endswith("lateral-offset")
    times = DEG if angular else 1e-3
    value, U = (after if left else found) * times, 2 * u * times  # noqa: N806
    decision = "none"
    if limit is not None:
        low = -math.inf if limit.low is None else limit.low
        high = math.inf if limit.high is None else limit.high
        decision = "undecided"
        if low + U <= value <= high - U:
            decision = "inside"
        elif value < low - U or value > high + U:
            decision = "outside"
    return Reading(
        topic,
        angular,
        value,
        U / 2,
        U,
        2.0,
        at,
        "good",
        "",
        (("alder", "cal-2026-0001"), ("birch", "cal-2026-0002")),
        ("study of this bay of 2 March", "cal-2026-0001"),
        limit,
        "guard-u",
        decision,
        None,
    )


def tasks() -> tuple[Task, ...]:
    """Return one set-up for all three axles."""
    topics, axles = tuple(VALUES), (1, 2, 3)
    heading, toe = "axle/{}/both/heading", "axle/1/both/total-toe"
    return (
        Task("s1-1", Doing.MOUNT, 1, axles),
        Task("s1-2", Doing.TURN, 1, axles),
        Task("s1-3", Doing.LOWER, 1, axles),
        Task("s1-4", Doing.SETTLE, 1, axles),
        Task("s1-5", Doing.FIND, 1, axles, topics),
        Task("s1-6", Doing.ADJUST, 1, (3,), (heading.format(3),), quantity="axle_heading"),
        Task("s1-7", Doing.ADJUST, 1, (2,), (heading.format(2),), quantity="axle_heading"),
        Task("s1-8", Doing.ADJUST, 1, (1,), (toe,), quantity="total_toe"),
        Task("s1-9", Doing.TIGHTEN, 1, axles),
        Task("s1-10", Doing.SETTLE, 1, axles),
        Task("s1-11", Doing.LEAVE, 1, axles, topics),
    )


ADVICE = {
    "axle/3/both/heading": ("Left torque arm: 1 1/4 turns longer.",),
    "axle/2/both/heading": ("Shims, left: 3 + 1 mm instead of 3 mm.",),
    "axle/1/both/total-toe": ("Tie rod: 1/4 turn shorter.",),
}


def finished(*, close: bool = True) -> Played:
    """Return the job, done."""
    wheels = frozenset((axle, side) for axle in (1, 2, 3) for side in ("left", "right"))
    played = begun_with(OPENED, Plan(tasks(), 1), wheels)
    while (current := played.job.current) is not None:
        left = current.doing is Doing.LEAVE
        readings = {t: measured(t, played.now, left=left) for t in VALUES}
        if current.doing is Doing.ADJUST:
            played.act(Turn(current.id), readings=readings, advice=ADVICE)
        note = "camber of a beam axle: referred to the axle's maker" if left else ""
        played.act(Finish(current.id, note), readings=readings)
    played.tell(Taped("1l-3l", 5.571, 0.001, 5.5718, 0.0006, True))
    played.act(Remark("Tyre on axle 1 left worn at its outer edge; toe was the cause."))
    if close:
        played.act(Close())
    return played
