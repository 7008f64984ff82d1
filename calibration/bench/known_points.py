"""Verification points: every angle from both sides, as often as planned, in a fixed order."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from calibration.bench.capture import Settled
from calibration.bench.full_turn import CAUTION, raw_columns
from calibration.bench.procedure import Progress, Row, Target
from calibration.bench.rows import pooled_spread_deg, reading_columns
from calibration.bench.sine_steps import CAUTIONS, OTHER, SIDE
from calibration.files.points import FACINGS, TILT

REPEATS = 2
TILT_CHANNELS = ("incl_x", "incl_y", "incl_z")
SAME = "the same points before and after an adjustment, in the same order, can be compared"


@dataclass(frozen=True, slots=True)
class KnownPoints:
    """A run as found or as left: the points of the plan one after the other."""

    file: str
    title: str
    plan: tuple[Target, ...]
    heads: tuple[str, ...] = ("A",)

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how many points are taken."""
        n = len(self.plan)
        return Progress(len(rows), n, n, spread_deg=pooled_spread_deg(rows))

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the next point; there is no choice, since a run is taken in order."""
        return self.plan[len(rows) : len(rows) + 1] or self.plan[-1:]

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        channel = target.columns["channel"]
        return TILT if channel in TILT else (channel,)

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        channel = target.columns["channel"]
        if channel in TILT:
            own = reading_columns(reading, [c for c in TILT_CHANNELS if c in reading.mean])
        else:
            own = raw_columns(reading, channel)
        return ({**target.columns, **own},)


def tilt_points(
    channel: str,
    length_mm: float,
    stacks: Sequence[str],
    repeats: int = REPEATS,
    *,
    named: bool = True,
) -> tuple[Target, ...]:
    """Return the points of one tilt axis: stacks such as ``10+7.43`` under either end, and none.

    ``named``: the rows say which blocks were used, since the set knows each of them.

    At zero the bar is also turned about with the head on it, which parts plate and head.
    """
    raised = sorted(stacks, key=height_of)
    nominal = [*((s, -1) for s in raised[::-1]), ("", 1), *((s, 1) for s in raised)]
    points = []
    for repeat in range(1, repeats + 1):
        for direction, order in (("up", nominal), ("down", nominal[::-1])):
            for stack, sign in order:
                facings = FACINGS if not stack else FACINGS[:1]
                points += [
                    _tilt_point(channel, length_mm, stack, sign, direction, repeat, facing)
                    for facing in facings
                ]
    return tuple(points if named else map(_unnamed, points))


def turn_points(
    channel: str, positions: int = 8, repeats: int = REPEATS, reference_id: str = ""
) -> tuple[Target, ...]:
    """Return the points of one encoder: evenly spaced, rising and falling."""
    even = [360.0 * i / positions for i in range(positions)]
    return tuple(
        _turn_point(channel, at, direction, repeat, reference_id)
        for repeat in range(1, repeats + 1)
        for direction, order in (("up", even), ("down", even[::-1]))
        for at in order
    )


def as_before(run: KnownPoints, found: Sequence[Row], file: str, title: str) -> KnownPoints:
    """Return a run that repeats the points of another, whose rows say what was taken."""
    asked = [t.ask for t in run.plan]
    again = [
        replace(target, columns={**target.columns, **_settled_columns(target, row)})
        for target, row in zip(run.plan, found, strict=False)
    ]
    plan = tuple(again) if len(again) == len(asked) else run.plan
    return replace(run, file=file, title=title, plan=plan)


def height_of(stack: str) -> float:
    """Return the height of a stack in mm."""
    return float(_height_text(stack))


def _height_text(stack: str) -> str:
    return str(sum((Decimal(block) for block in stack.split("+")), Decimal(0))) if stack else "0"


def _unnamed(point: Target) -> Target:
    return replace(point, columns={**point.columns, "blocks_mm": ""})


def _settled_columns(target: Target, row: Row) -> dict[str, str]:
    """What the technician read off the reference is read again, so it is not carried over."""
    return {c: row[c] for c in target.columns if c in row and c != target.ask}


def _tilt_point(
    channel: str,
    length_mm: float,
    stack: str,
    sign: int,
    direction: str,
    repeat: int,
    facing: str,
) -> Target:
    axis = channel[-1]
    height = height_of(stack)
    nominal = f"{sign * math.degrees(math.asin(height / length_mm)):.4f}" if stack else "0.0000"
    end = SIDE[axis] if sign > 0 else OTHER[axis]
    under = f"Blocks of {stack} mm under the {end} end: {float(nominal):+.4f}°."
    flat = "No blocks: both rollers on the surface plate."
    turned = facing != FACINGS[0]
    about = "Turn the bar end for end with the head on it, to the same marks."
    side = "rising" if direction == "up" else "falling"
    return Target(
        name=f"{channel} {float(nominal):+.2f}° {side}{', turned' if turned else ''}, {repeat}",
        do=(
            about if turned else f"Head on the sine bar, its {SIDE[axis]} axis along it.",
            under if stack else flat,
            "Clamp, and let it stand.",
        ),
        cautions=CAUTIONS,
        why=SAME,
        columns={
            "channel": channel,
            "nominal_deg": nominal,
            "direction": direction,
            "repeat": str(repeat),
            "facing": facing,
            "height_mm": _height_text(stack),
            "blocks_mm": stack,
        },
    )


def _turn_point(
    channel: str, at_deg: float, direction: str, repeat: int, reference_id: str
) -> Target:
    side = "rising" if direction == "up" else "falling"
    columns = {
        "channel": channel,
        "nominal_deg": f"{at_deg:g}",
        "direction": direction,
        "repeat": str(repeat),
        "facing": FACINGS[0],
        "reference_deg": f"{at_deg:.6f}",
        "reference_id": reference_id,
    }
    return Target(
        name=f"{channel} {at_deg:g}° {side}, {repeat}",
        do=(
            f"Turn on, {side}, until the reference reads {at_deg:.3f}°; not past and back.",
            "Let it stand, and type what the reference reads (Enter alone: just that).",
        ),
        cautions=(CAUTION,),
        why=SAME,
        columns=columns,
        ask="reference_deg",
    )
