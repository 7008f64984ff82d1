"""How far a job is, in the words of the plan, so that it can be planned anew from there."""

import re
from collections.abc import Iterator, Set

from ingest.geometry.corrections.wanted import Quantity
from ingest.job.course.acts import Refused
from ingest.job.course.job import Job
from ingest.job.course.tasks import BY_SWEEP, Doing
from ingest.job.plan.progress import Cannot, Done
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.vehicle import Vehicle

ADJUST = re.compile(r"adjust (\d{1,2})(?:[:,;].*)?")
LINE = re.compile(r"line ([LR]\d{1,2})-([LR]\d{1,2})(?:[:,;].*)?")
PAIRS = re.compile(r"pairs (\d{1,2})(?:[:,;].*)?")
WAYS = "adjust 4 (axle 4 cannot be set), line L1-L2 (blocked), or pairs 1 (pairs of heads left)"


def done_of(job: Job, seized: Set[int] = frozenset()) -> Done:
    """Return what is done of a job: mounted, found, turned at, left.

    An axle of which something is still to be adjusted has to be worked at once more, as long as it
    is not ``seized``.
    """
    mounted: tuple[int, ...] = ()
    found: set[int] = set()
    touched: set[int] = set()
    left: set[int] = set()
    for task in job.tasks:
        mark = job.marks.get(task.id)
        if mark is None or mark.skipped:
            continue
        match task.doing:
            case Doing.SETTLE:
                mounted = task.axles
            case Doing.FIND:
                found |= {n for n in task.axles if f"axle/{n}/both/heading" in job.found}
            case Doing.ADJUST if mark.turned:
                touched |= set(task.axles)
                left -= set(task.axles)
            case Doing.LEAVE:
                left |= set(task.axles)
            case _:
                pass
    for task in job.tasks:
        if task.doing is Doing.ADJUST and task.id not in job.marks:
            touched -= set(task.axles) - seized
    on = frozenset(mounted)
    stale = {int(topic.split("/")[1]) for topic in job.stale if topic.startswith("axle/")}
    return Done(
        mounted=on,
        tied=on,
        found=frozenset(found),
        touched=frozenset(touched),
        left=frozenset(left - stale),
    )


def turned_of(job: Job) -> Iterator[tuple[int, Quantity]]:
    """Yield what was adjusted of which axle: it is not to be adjusted again."""
    for task in job.tasks:
        mark = job.marks.get(task.id)
        if task.doing is Doing.ADJUST and mark is not None and mark.turned and not mark.skipped:
            yield task.axles[0], Quantity(task.quantity)


def unswept_of(job: Job) -> Iterator[tuple[int, Quantity]]:
    """Yield what a sweep alone could tell, of axles whose sweep as found was left out."""
    for task in job.tasks:
        mark = job.marks.get(task.id)
        if task.doing is Doing.SWEEP and mark is not None and mark.skipped:
            yield from ((task.axles[0], Quantity(name)) for name in BY_SWEEP)


def cannot_of(vehicle: Vehicle, said: tuple[str, ...], pairs: int) -> tuple[Cannot, int]:
    """Return what cannot be done, and how many pairs of heads are left. Raises ``Refused``."""
    seized: set[int] = set()
    blocked: set[frozenset[Wheel]] = set()
    for text in said:
        if (found := ADJUST.fullmatch(text)) is not None:
            seized.add(_axle(vehicle, int(found[1]), text))
        elif (found := LINE.fullmatch(text)) is not None:
            ends = frozenset(Wheel.named(name) for name in found.groups())
            for wheel in ends:
                _axle(vehicle, wheel.axle, text)
            blocked.add(ends)
        elif (found := PAIRS.fullmatch(text)) is not None:
            pairs = max(1, min(pairs, int(found[1])))
        else:
            raise Refused("bad-field", f"{text[:60]!r} cannot be planned with; say {WAYS}")
    return Cannot(frozenset(seized), frozenset(blocked)), pairs


def _axle(vehicle: Vehicle, number: int, text: str) -> int:
    try:
        return vehicle.axle(number).number
    except KeyError:
        raise Refused("bad-field", f"{text[:60]!r}: there is no axle {number}") from None
