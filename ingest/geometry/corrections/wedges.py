"""Caster wedges: tapered plates between springs and axle pads.

A wedge lies between the spring and the pad of the axle. Above the axle, its thick end to the rear
presses the rear of the pad down and leans the steering axis rearward: more caster. Where the spring
lies below the axle it is the other way round. Rise of the thick end: length times tan(angle).
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.wanted import LEAVE, Correction, Step, Wanted
from ingest.geometry.corrections.words import degrees, millimetres

AS_GOOD_RAD = 1e-9
"""Angles that differ by less are the same: well below any wedge's own tolerance."""
TWISTED_RAD = 0.5 * DEG
"""A larger difference of measured caster from side to side suggests a twisted axle
(NAVEDTRA 14050A)."""
BEYOND_WEDGES_RAD = 2.0 * DEG
"""A larger caster error is not for wedges to put right (49X maintenance manual, Daimler Truck
North America)."""


@dataclass(frozen=True, slots=True)
class Wedges:
    """Wedges at hand and as fitted.

    ``stock_rad`` has one angle, positive, for each wedge on the shelf. ``fitted_rad`` is what is in
    now on the left and on the right: thick end rear positive, 0 for none; these can be used again.
    ``most_difference_rad`` is what the axle's maker lets the two sides differ by, ``most_rad`` the
    steepest wedge that the maker allows. ``length_m`` is the length of a wedge, None where unknown.
    """

    stock_rad: tuple[float, ...]
    fitted_rad: tuple[float, float]
    most_difference_rad: float
    most_rad: float
    above_axle: bool = True
    driven: bool = False
    length_m: float | None = None

    def caster_rad(self, wedge_rad: float) -> float:
        """Return what a wedge, thick end rear positive, adds to caster."""
        return wedge_rad if self.above_axle else -wedge_rad

    def refitted(self, fitted_rad: tuple[float, float]) -> "Wedges":
        """Return the same with other wedges in, those that were in back on the shelf."""
        shelf = [abs(angle) for angle in (*self.stock_rad, *self.fitted_rad) if angle]
        for new in (abs(angle) for angle in fitted_rad if angle):
            same = [angle for angle in shelf if _same(angle, new)]
            if same:
                shelf.remove(same[0])
        return replace(self, stock_rad=tuple(shelf), fitted_rad=fitted_rad)


def rise_m(length_m: float, angle_rad: float) -> float:
    """Return how much thicker a wedge is at its thick end."""
    return length_m * math.tan(abs(angle_rad))


def correct_by_wedges(wanted: tuple[Wanted, Wanted], wedges: Wedges) -> Correction:
    """Bring caster on the left and on the right (in this order) as near as the wedges allow.

    The larger of the two errors is made small first, then their sum, then the work. Each side is
    taken to follow its own wedge.
    Raises: ``MeasurementRefused`` where no pair of wedges is allowed.
    """
    angles = _signed(wedges)
    pairs = [pair for pair in product(angles, angles) if _allowed(pair, wedges)]
    if not pairs:
        raise _none_allowed(wedges)

    def merit(pair: tuple[float, float]) -> tuple[float, float, int, float]:
        errors = [
            round(abs(w.change - _change_rad(wedges, pair, at)) / AS_GOOD_RAD)
            for at, w in enumerate(wanted)
        ]
        changed = sum(not _same(new, now) for new, now in zip(pair, wedges.fitted_rad, strict=True))
        return max(errors), sum(errors), changed, sum(map(abs, pair))

    best = min(pairs, key=merit)
    changes = [_change_rad(wedges, best, at) for at in (0, 1)]
    outcomes = tuple(w.changed(change) for w, change in zip(wanted, changes, strict=True))
    steps = tuple(
        _step(side, wedges, wedges.fitted_rad[at], best[at])
        for at, side in enumerate((Side.LEFT, Side.RIGHT))
    )
    also = _also(wedges, best, changes)
    return Correction(steps, outcomes, also, before=_before(wanted), beyond=tuple(_beyond(wedges)))


def _kind(angle_rad: float) -> int:
    """Return the same number for wedges of the same angle."""
    return round(abs(angle_rad) / AS_GOOD_RAD)


def _at_hand(wedges: Wedges) -> list[float]:
    return [abs(angle) for angle in (*wedges.stock_rad, *wedges.fitted_rad) if angle]


def _signed(wedges: Wedges) -> list[float]:
    angles = {_kind(angle): angle for angle in _at_hand(wedges)}.values()
    return [0.0, *angles, *(-angle for angle in angles)]


def _allowed(pair: tuple[float, float], wedges: Wedges) -> bool:
    at_hand = Counter(map(_kind, _at_hand(wedges)))
    needed = Counter(_kind(angle) for angle in pair if angle)
    return (
        all(at_hand[kind] >= count for kind, count in needed.items())
        and abs(pair[0] - pair[1]) <= wedges.most_difference_rad + AS_GOOD_RAD
        and max(map(abs, pair)) <= wedges.most_rad + AS_GOOD_RAD
    )


def _beyond(wedges: Wedges) -> Iterator[str]:
    """Yield what of the wedges that are in is not allowed."""
    for side, now_rad in zip((Side.LEFT, Side.RIGHT), wedges.fitted_rad, strict=True):
        if abs(now_rad) > wedges.most_rad + AS_GOOD_RAD:
            yield (
                f"The {side} wedge of {degrees(now_rad)} that is fitted is steeper than the "
                f"maker's limit of {degrees(wedges.most_rad)}: it must come out."
            )
    apart_rad = wedges.fitted_rad[0] - wedges.fitted_rad[1]
    if abs(apart_rad) > wedges.most_difference_rad + AS_GOOD_RAD:
        yield (
            f"The wedges that are fitted differ by {degrees(apart_rad)} from side to side, the "
            f"maker's limit is {degrees(wedges.most_difference_rad)}: they cannot stay so."
        )


def _same(one_rad: float, other_rad: float) -> bool:
    return abs(one_rad - other_rad) <= AS_GOOD_RAD


def _change_rad(wedges: Wedges, pair: Sequence[float], at: int) -> float:
    return wedges.caster_rad(pair[at] - wedges.fitted_rad[at])


def _none_allowed(wedges: Wedges) -> MeasurementRefused:
    least_rad = min(map(abs, wedges.fitted_rad))
    return MeasurementRefused(
        "no-wedge-allowed",
        "no pair of wedges, nor none at all, keeps to what the maker allows; check the limits",
        figure=least_rad / DEG,
        limit=wedges.most_rad / DEG,
    )


def _step(side: Side, wedges: Wedges, now_rad: float, new_rad: float) -> Step:
    part = f"{side} spring pad"
    if _same(now_rad, new_rad):
        text = f"Leave the {part} as it is: {_wedge(now_rad)}."
        return Step(part, LEAVE, text, side, turn_rad=now_rad, set_turn_rad=now_rad)
    text = f"{part.capitalize()}: "
    if now_rad:
        text += f"take out the {_wedge(now_rad)}"
    if now_rad and new_rad:
        text += "; "
    if new_rad:
        text += f"fit one {_wedge(new_rad)}"
        if wedges.length_m is not None:
            rise = millimetres(rise_m(wedges.length_m, new_rad))
            text += f" (it is {rise} thicker there)"
    return Step(part, "fit wedge", f"{text}.", side, turn_rad=new_rad, set_turn_rad=new_rad)


def _wedge(angle_rad: float) -> str:
    if not angle_rad:
        return "no wedge"
    end = "rear" if angle_rad > 0 else "front"
    return f"wedge of {degrees(angle_rad)}, thick end to the {end}"


def _also(wedges: Wedges, pair: Sequence[float], changes: Sequence[float]) -> tuple[str, ...]:
    sentences = [
        "The axle turns about its own line: steering arm, drag link and brake chambers move with "
        "it. Check the drag link's travel over the suspension's, and total toe.",
        "One wedge on each pad, never two on each other; new spring U-bolts and nuts where the "
        "maker asks for them.",
    ]
    mean = sum(changes) / 2.0
    if wedges.driven and not _same(mean, 0.0):
        ahead, behind = ("up", "down") if mean > 0 else ("down", "up")
        sentences.append(
            f"The pinion of this driven axle tips by {degrees(mean)}, {ahead} where it lies ahead "
            f"of the axle, {behind} where behind: check the joint angles of the drive shaft."
        )
    if not _same(pair[0], pair[1]):
        sentences.append(
            "Wedges that differ from side to side twist the axle beam: what comes of it is for the "
            "next measurement to say."
        )
    return tuple(sentences)


def _before(wanted: tuple[Wanted, Wanted]) -> tuple[str, ...]:
    sentences = []
    if abs(wanted[0].measured.value - wanted[1].measured.value) > TWISTED_RAD:
        sentences.append(
            "Caster differs by more than half a degree from side to side, which may be a twisted "
            "axle or a worn part: have that looked for first."
        )
    if max(abs(w.change) for w in wanted) > BEYOND_WEDGES_RAD:
        sentences.append(
            "Caster is more than two degrees out, which is not for wedges to put right: look for "
            "a wrong ride height, worn or bent parts first, and ask the axle maker."
        )
    return tuple(sentences)
