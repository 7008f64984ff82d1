"""Results by their topics below the bay, and what each is to limits and corrections."""

from collections.abc import Iterator

from ingest.core.frames import Side
from ingest.geometry.corrections.wanted import Quantity as Corrected
from ingest.job.limits.matching import Place
from ingest.job.limits.quantities import Of, Quantity
from ingest.job.vehicle.axles import Axle, Role
from ingest.job.vehicle.reference import PIN, reference_axle
from ingest.job.vehicle.vehicle import Unit, Vehicle

TO_THE_LINE = ("heading", "scrub", "setback", "lateral-offset")
"""Of an axle, told against the line of its unit or its reference axle."""


TOE_OUT = {f"toe-out-{to}": to for to in Side}
"""Results that are told by the side that is turned to."""


def wheel_topic(axle: int, side: Side, name: str) -> str:
    """Return the topic of a result of one wheel."""
    return f"axle/{axle}/{side.value}/{name}"


def axle_topic(axle: int, name: str) -> str:
    """Return the topic of a result of an axle."""
    return f"axle/{axle}/both/{name}"


def vehicle_topic(name: str) -> str:
    """Return the topic of a result of the whole vehicle."""
    return f"vehicle/{name}"


def axles_in(topic: str) -> tuple[int, ...]:
    """Return the axle that a topic is of; none for one of the whole vehicle."""
    where, _, rest = topic.partition("/")
    return (int(rest.split("/")[0]),) if where == "axle" else ()


def cambers(axle: int) -> tuple[str, ...]:
    """Return what only a head on the wheel can tell."""
    return tuple(wheel_topic(axle, side, "camber") for side in Side)


def told(vehicle: Vehicle, axle: Axle) -> tuple[str, ...]:
    """Return what is known of an axle once it is tied to what it is told against: the reference
    axle's own toes and heading, of another one how it stands to that.

    Where a steered axle points as a whole is where the steering wheel stands: its total toe is
    what can be proved of it.
    """
    number = axle.number
    total = axle_topic(number, "total-toe")
    if axle.role.is_steered:
        return (total,)
    if number == reference_axle(vehicle, vehicle.unit(axle.unit)):
        toes = (wheel_topic(number, side, "toe") for side in Side)
        return (*toes, total, axle_topic(number, "heading"))
    return total, axle_topic(number, "scrub")


def alone(vehicle: Vehicle, axle: Axle) -> tuple[str, ...]:
    """Return what is measured of an axle that no line joins to any other yet."""
    own = cambers(axle.number)
    across = vehicle.sees(*axle.wheels)
    return (*own, axle_topic(axle.number, "total-toe")) if across else own


def besides(vehicle: Vehicle, axle: Axle) -> tuple[str, ...]:
    """Return what is measured of an axle where the sightlines determine it."""
    toes = (wheel_topic(axle.number, side, "toe") for side in Side)
    to_the_line = (axle_topic(axle.number, name) for name in TO_THE_LINE)
    return (*toes, *to_the_line, *_of_vehicle(vehicle, axle))


def _of_vehicle(vehicle: Vehicle, axle: Axle) -> Iterator[str]:
    """Yield results of the whole vehicle that an axle is a part of; its first unit has them."""
    unit = vehicle.unit(axle.unit)
    if unit != vehicle.units[0]:
        return
    axles = vehicle.axles_of(unit)
    if axle.number == reference_axle(vehicle, unit):
        yield vehicle_topic("thrust")
    if axle.role is Role.DRIVE and sum(a.role is Role.DRIVE for a in axles) > 1:
        yield vehicle_topic("drive-heading")
    if axle.role.is_steered and sum(a.role.is_steered for a in axles) > 1:
        yield vehicle_topic("parallelism")


def swept(axle: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what a sweep of an axle always tells, and what it tells besides: of locked heads, of
    wheels that were steered far enough, of those that were steered to their stops."""
    return casters(axle), (*leans(axle), *turnings(axle), *locks(axle))


def casters(axle: int) -> tuple[str, ...]:
    """Return the caster of both sides, left first."""
    return tuple(wheel_topic(axle, side, "caster") for side in Side)


def leans(axle: int) -> tuple[str, ...]:
    """Return what a sweep tells of the steering axes beside caster."""
    names = ("sai", "included-angle")
    besides = tuple(wheel_topic(axle, side, name) for name in names for side in Side)
    crossed = tuple(axle_topic(axle, f"cross-{name}") for name in ("caster", "camber", "sai"))
    return *besides, *crossed


def turnings(axle: int) -> tuple[str, ...]:
    """Return how far a sweep steered each wheel to each side, and toe-out on turns."""
    angles = (wheel_topic(axle, at, f"turning-angle-{to}") for at in Side for to in Side)
    return *angles, *(axle_topic(axle, f"toe-out-{to}") for to in Side)


def locks(axle: int) -> tuple[str, ...]:
    """Return the turning angles of the inner wheel at the stops, by the side turned to."""
    return tuple(wheel_topic(axle, side, "lock-angle") for side in Side)


def pin_lines(vehicle: Vehicle, unit: Unit) -> tuple[str, ...]:
    """Return the tapes from a towed unit's pin to the hubs of its first axle; none without one."""
    if unit.coupling is None:
        return ()
    return tuple(f"{PIN}-{wheel.id}" for wheel in vehicle.axles_of(unit)[0].wheels)


def place_of(vehicle: Vehicle, topic: str) -> Place | None:
    """Return what a topic is a result of; None where no limit can be of it."""
    where, _, name = topic.rpartition("/")
    if name in TOE_OUT:
        where, name = f"{where.rpartition('/')[0]}/{TOE_OUT[name]}", "toe-out-on-turns"
    try:
        quantity = Quantity(name.replace("-", "_"))
    except ValueError:
        return None
    if quantity.kind.of is Of.VEHICLE:
        return Place(quantity)
    _, number, side = where.split("/")
    axle = vehicle.axle(int(number))
    return Place(quantity, axle, None if side == "both" else Side(side))


def adjusted(vehicle: Vehicle, axle: Axle, quantity: Corrected) -> tuple[str, ...]:
    """Return the topics that show a quantity of an axle; none where nothing here shows it.

    Where a steer axle points while the steering wheel is locked in its middle shows how far that
    one stands aside while the wheels run straight. Caster and lock angles are those of the last
    sweep.
    """
    match quantity:
        case Corrected.STEERING_WHEEL:
            return (axle_topic(axle.number, "heading"),)
        case Corrected.CASTER:
            return casters(axle.number)
        case Corrected.LOCK_ANGLE:
            stops = (side for side in Side if axle.adjuster(quantity, side) is not None)
            return tuple(wheel_topic(axle.number, side, "lock-angle") for side in stops)
        case Corrected.AXLE_HEADING:
            unit = vehicle.unit(axle.unit)
            shows = "heading" if axle.number == reference_axle(vehicle, unit) else "scrub"
            return (axle_topic(axle.number, shows),)
        case Corrected.LATERAL_OFFSET:
            return (axle_topic(axle.number, "lateral-offset"),)
        case Corrected.TOTAL_TOE:
            return (axle_topic(axle.number, "total-toe"),)
        case Corrected.STEER_PARALLELISM:
            return (vehicle_topic("parallelism"),)
        case _:
            return ()


def stale_by(vehicle: Vehicle, axle: Axle, quantity: Corrected) -> tuple[str, ...]:
    """Return the topics that hold no longer once a quantity of an axle was turned.

    Where the axle is what others are told against, theirs fall with it. Our judgement, after
    ``ingest/geometry/corrections/stale.py``.
    """
    number = axle.number
    wheels = tuple(wheel_topic(number, side, "toe") for side in Side)
    own = (*wheels, *(axle_topic(number, name) for name in TO_THE_LINE))
    if quantity in (Corrected.AXLE_HEADING, Corrected.LATERAL_OFFSET):
        return (*own, *_of_vehicle(vehicle, axle), *_against(vehicle, axle))
    if quantity is Corrected.LOCK_ANGLE:
        return *turnings(number), *locks(number)
    steer = (
        *wheels,
        *(axle_topic(number, name) for name in ("heading", "scrub")),
        *_of_vehicle(vehicle, axle),
        *turnings(number),
        *locks(number),
    )
    total = axle_topic(number, "total-toe")
    if quantity is Corrected.CASTER:
        return *casters(number), *leans(number), *cambers(number), total, *steer
    return (*steer, total) if quantity is Corrected.TOTAL_TOE else steer


def _against(vehicle: Vehicle, axle: Axle) -> Iterator[str]:
    unit = vehicle.unit(axle.unit)
    if axle.number != reference_axle(vehicle, unit):
        return
    for other in vehicle.axles_of(unit):
        if other.number != axle.number:
            yield from (wheel_topic(other.number, side, "toe") for side in Side)
            yield from (axle_topic(other.number, name) for name in TO_THE_LINE)
    if unit == vehicle.units[0]:
        yield from map(vehicle_topic, ("thrust", "drive-heading", "parallelism"))
