"""The usual cautions, by what is being done. They stand beside the vehicle maker's, never instead.

Common workshop practice; nothing here replaces the maker's instructions, local codes, or a
person's licence to do the work.
"""

from collections.abc import Mapping
from types import MappingProxyType

from ingest.job.course.tasks import Doing

MAKER = "The vehicle maker's instructions, local codes and licensed practice come before this page."

CHOCKS = "Chock the wheels that stay down, on both sides of each; park brake as the maker says."
LIFTING = (
    "Lift only at the maker's points, with gear rated for the load, and let it down onto stands; "
    "nobody under what hangs on a jack."
)
SPRING_BRAKES = (
    "Wheels with spring brakes turn only when those are released by the maker's way; chock first."
)
AIR = "Air suspension: keep hands and feet clear when it is filled or emptied; set to ride height."
RUNNING = "Engine off and key out; keep sleeves, hair and cables clear of wheels that turn."
PINNED = "Turn plates stay pinned until the vehicle stands; take the pins out only to steer."
SWEPT = (
    "A sweep: plates unpinned, service brake held by the maker's way, nobody's hands or feet near "
    "the wheels while they are steered."
)
STEERING = "Centre the steering gear and lock the wheel before toe is set; nobody at the wheel."
LOOSE = "Support what a loosened fastening holds; the vehicle does not move before it is tight."
TORQUE = "Tighten in the maker's order to the maker's torque; one-way fastenings are used once."
HOT = "Hubs, brakes and exhaust may be hot; let them cool."
PUSHED = "A push: chocks off for that alone, steering straight, nobody ahead of or behind a wheel."
BENT = (
    "A beam or knuckle that is bent is replaced by the maker's way; it is not bent or heated here."
)
WEDGES = (
    "Wedges: frame lifted at the maker's points and on stands, axle supported, brakes' lines and "
    "drag link not strained; hands out from between spring and pad while anything can drop."
)
U_BOLTS = (
    "Spring U-bolts and nuts: new ones where the maker asks for them, crosswise in steps to the "
    "maker's torque with the vehicle's weight on the axle; checked again after the distance named."
)
AT_THE_STOPS = (
    "At the stops: do not hold a power steering against them, and see that nothing touches."
)
NO_FORCE = (
    "Where wedges cannot bring it home: ask the axle maker. Nothing is bent, heated, cut or welded."
)

BY_DOING: Mapping[Doing, tuple[str, ...]] = MappingProxyType(
    {
        Doing.MOUNT: (CHOCKS, HOT),
        Doing.TAPE: (CHOCKS, HOT),
        Doing.TURN: (CHOCKS, LIFTING, SPRING_BRAKES, RUNNING, PUSHED),
        Doing.LOWER: (LIFTING, PINNED),
        Doing.SWEEP: (CHOCKS, SWEPT, RUNNING),
        Doing.SETTLE: (AIR, PUSHED, PINNED),
        Doing.FIND: (),
        Doing.ADJUST: (STEERING, LOOSE, HOT, BENT),
        Doing.TIGHTEN: (TORQUE, LOOSE),
        Doing.RESWEEP: (CHOCKS, SWEPT, RUNNING),
        Doing.LEAVE: (),
    }
)

INTAKE = (CHOCKS, LIFTING, RUNNING, HOT)


OF_QUANTITY: Mapping[tuple[Doing, str], tuple[str, ...]] = MappingProxyType(
    {
        (Doing.ADJUST, "caster"): (CHOCKS, WEDGES, U_BOLTS, HOT, NO_FORCE),
        (Doing.ADJUST, "lock_angle"): (CHOCKS, RUNNING, HOT, AT_THE_STOPS),
        (Doing.SWEEP, "lock_angle"): (CHOCKS, SWEPT, RUNNING, AT_THE_STOPS),
        (Doing.RESWEEP, "lock_angle"): (CHOCKS, SWEPT, RUNNING, AT_THE_STOPS),
    }
)
"""Where what is adjusted asks for other cautions than its kind of task."""


def cautions(doing: Doing, quantity: str = "") -> tuple[str, ...]:
    """Return the cautions of a task; the maker's word comes last of all."""
    found = OF_QUANTITY.get((doing, quantity), BY_DOING[doing])
    return (*found, MAKER) if found else ()
