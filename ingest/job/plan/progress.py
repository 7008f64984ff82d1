"""How far a job is, what cannot be done today, and what a step makes of it."""

from dataclasses import dataclass, replace

from ingest.job.plan.steps import Do, Step
from ingest.job.plan.task import Line
from ingest.job.vehicle.vehicle import Vehicle

Axles = frozenset[int]


@dataclass(frozen=True, slots=True)
class Done:
    """How far the job is, by axle numbers.

    ``mounted``: axles with heads on. ``tied``: axles whose wheels stand as they were read, in one
    network with those that have heads on. ``found``: measured as found. ``touched``: adjusted.
    ``left``: measured as left. ``references``: the axles that work has begun against; where none
    of a unit is here, it is chosen anew.
    """

    mounted: Axles = frozenset()
    tied: Axles = frozenset()
    found: Axles = frozenset()
    touched: Axles = frozenset()
    left: Axles = frozenset()
    references: Axles = frozenset()


@dataclass(frozen=True, slots=True)
class Cannot:
    """What cannot be done today: axles that nothing can be set of, sightlines that are blocked."""

    seized: Axles = frozenset()
    blocked: frozenset[Line] = frozenset()


def after(vehicle: Vehicle, done: Done, step: Step) -> Done:
    """Return how far the job is once a step was done."""
    axles = frozenset(step.axles)
    match step.do:
        case Do.MOUNT:
            return _mounted(vehicle, done, step)
        case Do.FOUND:
            return replace(done, found=done.found | set(step.told))
        case Do.LEFT:
            return replace(done, left=done.left | axles)
        case Do.ADJUST:
            unit = _axles_of(vehicle, step.unit)
            alone = done.mounted & unit == axles
            tied = (done.tied - unit) | axles if alone else done.tied
            return replace(done, touched=done.touched | axles, tied=tied)


def _mounted(vehicle: Vehicle, done: Done, step: Step) -> Done:
    unit = _axles_of(vehicle, step.unit)
    mounted = (done.mounted - set(step.off)) | set(step.axles)
    here = mounted & unit
    stayed = done.mounted & here & done.tied
    tied = (done.tied if stayed else done.tied - unit) | here
    # Nothing in another unit is tied to what has heads on any more once its own are off.
    gone = frozenset(
        axle.number
        for axle in vehicle.axles
        if not any(a.number in mounted for a in vehicle.axles_of(vehicle.unit(axle.unit)))
    )
    return replace(done, mounted=mounted, tied=tied - gone)


def _axles_of(vehicle: Vehicle, unit_id: str) -> Axles:
    return frozenset(axle.number for axle in vehicle.axles if axle.unit == unit_id)
