"""Vehicles to practise on: drawn from a plan and a seed, with the troubles that are asked for."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeVar

import numpy as np

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.adjusting.parts import EndParts, Part
from ingest.simulator.head import Battery, Head, WornClamp
from ingest.simulator.streams import stream
from ingest.simulator.truth_by_topic import Frame
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt, WheelBuild

T = TypeVar("T")

ROLL_PER_CASTER = 0.002 / DEG
"""How much a beam axle rolls as it is steered, rad per rad, for each radian of its caster."""
RAMP_TILT_DEG = 0.08
ASIDE_M = 0.006


class Trouble(StrEnum):
    """What can be wrong with a vehicle or a head."""

    SKEWED_AXLES = "skewed-axles"
    """Axles that can be turned stand askew."""
    TOE = "toe"
    """Steer axles toe in or out too much."""
    STEERING_WHEEL = "steering-wheel"
    """The steering wheel stands askew while the wheels run straight."""
    CASTER = "caster"
    """A steer axle leans forward, and not alike on both sides."""
    BENT_BEAM = "bent-beam"
    """Both wheels of an axle lean in and toe out, which nothing adjusts."""
    LOOSE_BEARING = "loose-bearing"
    """A wheel leans another way each time that it settles."""
    SOFT_SUSPENSION = "soft-suspension"
    """An axle settles slowly, and never twice alike."""
    SEIZED_ADJUSTER = "seized-adjuster"
    """An adjuster that does not move."""
    SLIPPING_CLAMP = "slipping-clamp"
    """A clamp slips some time after it was mounted."""
    LOW_BATTERY = "low-battery"
    """A head's battery runs low within the first minutes."""


@dataclass(frozen=True, slots=True)
class AxlePlan:
    """An axle as its maker drew it. ``x_m`` grows forward; ``parts`` adjust it."""

    number: int
    x_m: float
    track_m: float
    radius_m: float
    dual: bool = False
    steered: bool = False
    beam: bool = True
    parts: tuple[Part, ...] = ()

    @property
    def turns(self) -> bool:
        """Whether its heading can be adjusted."""
        return any(isinstance(part, EndParts) for part in self.parts)


@dataclass(frozen=True, slots=True)
class VehiclePlan:
    """A vehicle as its maker drew it; ``unseen``: pairs of wheels that its own parts hide.

    ``track_sigma_m`` and ``place_sigma_m``: how far it was built off its drawing, hub from hub, and
    each axle along the vehicle. Standard deviations.
    """

    name: str
    axles: tuple[AxlePlan, ...]
    frames: tuple[Frame, ...]
    unseen: frozenset[frozenset[WheelAt]] = frozenset()
    track_sigma_m: float = 0.0
    place_sigma_m: float = 0.0


@dataclass(slots=True)
class Practice:
    """A vehicle to practise on, and where its troubles were put, to be told at the end."""

    vehicle: Vehicle
    adjusters: Adjusters
    frames: tuple[Frame, ...]
    troubles: Mapping[Trouble, str]

    @property
    def pin_m(self) -> tuple[float, float, float] | None:
        """Where its first pin is, in its own frame; None where it has none."""
        return next((frame.pin_m for frame in self.frames if frame.pin_m is not None), None)


def draw_practice(
    plan: VehiclePlan,
    seed: int,
    troubles: Collection[Trouble],
    clock: Callable[[], float],
    heads: Mapping[str, Head] | None = None,
) -> Practice:
    """Draw a vehicle with its adjusters, and put the troubles somewhere.

    ``heads`` by name are changed where a trouble is a head's. A trouble that has no place on this
    vehicle, or among these heads, is left out, and not told either.
    """
    random = stream(seed, "practice", plan.name)
    axles = _off_the_drawing(plan, stream(seed, "built", plan.name))
    builds = {axle.number: _built(axle, random, troubles) for axle in axles}
    put = dict(_put_on_axles(plan, builds, random, troubles))
    tilt = random.uniform(-RAMP_TILT_DEG, RAMP_TILT_DEG, 2) * DEG
    vehicle = Vehicle(
        plan.name,
        tuple(builds.values()),
        ramp_roll_rad=float(tilt[0]),
        ramp_pitch_rad=float(tilt[1]),
        unseen=plan.unseen,
    )
    parts = {axle.number: axle.parts for axle in plan.axles if axle.parts}
    adjusters = Adjusters(vehicle, parts, stream(seed, "adjusters", plan.name), clock)
    if Trouble.SEIZED_ADJUSTER in troubles and adjusters.places:
        place = _any(random, adjusters.places)
        adjusters.seized = frozenset({place})
        put[Trouble.SEIZED_ADJUSTER] = str(place)
    put |= dict(_put_on_heads(heads or {}, random, troubles))
    return Practice(vehicle, adjusters, plan.frames, put)


def _off_the_drawing(plan: VehiclePlan, random: np.random.Generator) -> Iterator[AxlePlan]:
    """Yield the axles where they really are, and as wide as they really are."""
    for axle in plan.axles:
        wider, along = random.normal(0.0, (plan.track_sigma_m, plan.place_sigma_m))
        yield replace(axle, track_m=axle.track_m + wider, x_m=axle.x_m + along)


@dataclass(frozen=True, slots=True)
class _Angles:
    """How one axle stands, degrees: its beam and its wheels to the left, total toe, and so on."""

    beam: float
    straight: float
    total_toe: float
    casters: tuple[float, float]
    sai: float


def _angles(plan: AxlePlan, random: np.random.Generator, troubles: Collection[Trouble]) -> _Angles:
    """Draw how an axle stands: all of it, whatever the troubles, so each leaves the rest alone."""
    skew, little = _either_way(random, 0.25, 0.45), float(random.uniform(-0.04, 0.04))
    toe, in_order = _either_way(random, 0.25, 0.5), float(random.uniform(0.0, 0.1))
    aside, straight = _either_way(random, 0.3, 0.5), float(random.uniform(-0.03, 0.03))
    casters = random.uniform(3.0, 4.0) + random.uniform(-0.2, 0.2, 2)
    low, sai = random.uniform(0.7, 1.3, 2), float(random.uniform(6.0, 7.0))
    beam = skew if plan.turns and Trouble.SKEWED_AXLES in troubles else little
    if not plan.steered:
        return _Angles(beam, beam, in_order / 2.0 - 0.025, (0.0, 0.0), 0.0)
    left, right = casters - low if Trouble.CASTER in troubles else casters
    return _Angles(
        beam,
        aside if Trouble.STEERING_WHEEL in troubles else straight,
        toe if Trouble.TOE in troubles else in_order,
        (float(left), float(right)),
        sai,
    )


def _built(plan: AxlePlan, random: np.random.Generator, troubles: Collection[Trouble]) -> AxleBuild:
    """Draw one axle."""
    angles = _angles(plan, random, troubles)
    cambers, aside_m = random.uniform(-0.2, 0.3, 2), float(random.uniform(-ASIDE_M, ASIDE_M))
    left, right = (
        WheelBuild(
            float(camber) * DEG,
            (angles.total_toe / 2.0 - side.sign * angles.straight) * DEG,
            caster * DEG,
            angles.sai * DEG,
        )
        for side, camber, caster in zip(Side, cambers, angles.casters, strict=True)
    )
    caster_rad = sum(angles.casters) / 2.0 * DEG
    return AxleBuild(
        plan.number,
        plan.x_m,
        aside_m,
        plan.track_m,
        plan.radius_m,
        angles.beam * DEG,
        left,
        right,
        dual=plan.dual,
        steered=plan.steered,
        roll_per_steer=ROLL_PER_CASTER * caster_rad if plan.beam else 0.0,
    )


def _put_on_axles(
    plan: VehiclePlan,
    builds: dict[int, AxleBuild],
    random: np.random.Generator,
    troubles: Collection[Trouble],
) -> Iterator[tuple[Trouble, str]]:
    """Put what is wrong with one axle or wheel on one of them; say where everything is."""
    turning = [axle.number for axle in plan.axles if axle.turns]
    steered = [axle.number for axle in plan.axles if axle.steered]
    for trouble, axles in (
        (Trouble.SKEWED_AXLES, turning),
        (Trouble.TOE, steered),
        (Trouble.STEERING_WHEEL, steered),
        (Trouble.CASTER, steered),
    ):
        if trouble in troubles and axles:
            yield trouble, _axles(axles)
    bent, soft = _any(random, plan.axles).number, _any(random, plan.axles).number
    loose = WheelAt(_any(random, plan.axles).number, _any(random, list(Side)))
    lean_deg, play_deg = random.uniform(0.5, 0.9), random.uniform(0.06, 0.12)
    if Trouble.BENT_BEAM in troubles:
        builds[bent] = _bent(builds[bent], float(lean_deg) * DEG)
        yield Trouble.BENT_BEAM, _axles([bent])
    if Trouble.SOFT_SUSPENSION in troubles:
        builds[soft] = replace(builds[soft], softness=3.0)
        yield Trouble.SOFT_SUSPENSION, _axles([soft])
    if Trouble.LOOSE_BEARING in troubles:
        builds[loose.axle] = _loose(builds[loose.axle], loose.side, float(play_deg) * DEG)
        yield Trouble.LOOSE_BEARING, str(loose)


def _put_on_heads(
    heads: Mapping[str, Head], random: np.random.Generator, troubles: Collection[Trouble]
) -> Iterator[tuple[Trouble, str]]:
    """Give a head a worn clamp, and one an empty battery."""
    if not heads:
        return
    worn, empty = _any(random, list(heads)), _any(random, list(heads))
    slips_rad, after_s = random.uniform(0.3, 0.8) * DEG, random.uniform(20.0, 60.0)
    if Trouble.SLIPPING_CLAMP in troubles:
        heads[worn].worn = WornClamp(float(slips_rad), float(after_s))
        yield Trouble.SLIPPING_CLAMP, f"head {worn}"
    if Trouble.LOW_BATTERY in troubles:
        heads[empty].battery = Battery(at_first=12.0, per_hour=60.0)
        yield Trouble.LOW_BATTERY, f"head {empty}"


def _bent(axle: AxleBuild, lean_rad: float) -> AxleBuild:
    """Bend a beam: both wheels lean in, and toe out by half as much together."""
    left, right = (
        replace(
            wheel,
            camber_rad=wheel.camber_rad - lean_rad,
            toe_rad=wheel.toe_rad - lean_rad / 4.0,
        )
        for wheel in (axle.left, axle.right)
    )
    return replace(axle, left=left, right=right)


def _loose(axle: AxleBuild, side: Side, play_rad: float) -> AxleBuild:
    wheel = replace(axle.wheel(side), play_rad=play_rad)
    return replace(axle, left=wheel) if side is Side.LEFT else replace(axle, right=wheel)


def _either_way(random: np.random.Generator, least: float, most: float) -> float:
    return float(random.choice([-1.0, 1.0]) * random.uniform(least, most))


def _any(random: np.random.Generator, these: Sequence[T]) -> T:
    return these[int(random.integers(len(these)))]


def _axles(numbers: Sequence[int]) -> str:
    return f"axle{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"
