"""The adjusters of a vehicle file as the simulator draws its own from them: values, no formulas."""

from collections.abc import Iterator

from ingest.core.frames import Side
from ingest.geometry.corrections import (
    arms,
    bar_pin,
    drag_link,
    eccentric,
    relay_rod,
    shims,
    steering_stop,
    tie_rod,
    wedges,
)
from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.pack_search import ShimKind
from ingest.geometry.corrections.parts import AdjusterPart
from ingest.geometry.corrections.thread import Thread, Turning
from ingest.simulator.adjusting import parts as simulated


def simulated_part(part: AdjusterPart, held: Side = Side.LEFT) -> simulated.Part:
    """Return the simulator's drawing of a part; ``held``: the side whose knuckle is held."""
    match part:
        case arms.Arms():
            return simulated.EndArms(
                part.ends.between_m, _threads(part.thread), part.anchor_ahead, part.name
            )
        case eccentric.Eccentrics():
            return simulated.Eccentrics(
                part.ends.between_m,
                part.radius_m,
                part.range_rad,
                part.at_rad,
                _hand(part.forward),
            )
        case shims.EndShims():
            fitted = {side: tuple(_fitted(part.kinds, side)) for side in Side}
            stock = tuple(_stock(part.kinds))
            return simulated.EndShims(part.ends.between_m, part.forward, part.most_m, fitted, stock)
        case bar_pin.BarPins():
            positions = {each.name: each.forward_m for each in part.positions}
            at = {side: position.name for side, position in part.at.items()}
            return simulated.BarPins(part.ends.between_m, positions, at)
        case shims.LateralShims():
            pack = tuple(_fitted(part.kinds, Side.LEFT))
            return simulated.LateralShims(
                part.to_left, part.most_m, pack, tuple(_stock(part.kinds))
            )
        case wedges.Wedges():
            fitted_rad = dict(zip(Side, part.fitted_rad, strict=True))
            return simulated.Wedges(fitted_rad, part.stock_rad, part.above_axle)
        case _:
            return _rod(part, held)


def _rod(
    part: tie_rod.TieRod | drag_link.DragLink | relay_rod.RelayRod | steering_stop.SteeringStop,
    held: Side,
) -> simulated.Part:
    threads = _threads(part.thread)
    match part:
        case tie_rod.TieRod():
            return simulated.TieRod(threads, _arm(part.arm), part.ahead)
        case drag_link.DragLink():
            return simulated.DragLink(threads, _arm(part.arm), part.ratio, part.left_pushes, held)
        case relay_rod.RelayRod():
            return simulated.RelayRod(threads, _arm(part.arm), part.left_pushes, held)
        case steering_stop.SteeringStop():
            return simulated.SteeringStop(threads, part.radius_m, part.side)


def _threads(thread: Thread) -> simulated.Threads:
    return simulated.Threads(
        thread.pitches_m, _hand(thread.lengthens), thread.longer_m, thread.shorter_m
    )


def _hand(turning: Turning | None) -> simulated.Hand | None:
    return None if turning is None else simulated.Hand(turning.clockwise, turning.seen_from)


def _arm(lever: Lever) -> simulated.Arm:
    return simulated.Arm(lever.radius_m, lever.at_rad)


def _fitted(kinds: tuple[ShimKind, ...], side: Side) -> Iterator[float]:
    for kind in kinds:
        yield from [kind.thickness_m] * (kind.left if side is Side.LEFT else kind.right)


def _stock(kinds: tuple[ShimKind, ...]) -> Iterator[float]:
    for kind in kinds:
        yield from [kind.thickness_m] * kind.stock
