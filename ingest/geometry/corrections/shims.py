"""Shim packs: the heading of an axle, or its lateral offset, by the shims in stock."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections import axle_ends
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.pack_search import NM_PER_M, Packs, ShimKind, Sought, best_packs
from ingest.geometry.corrections.wanted import LEAVE, Correction, Step, Wanted
from ingest.geometry.corrections.words import crosswise, lengthwise, millimetres, plain_mm

SIDES = (Side.LEFT, Side.RIGHT)
ROD = "shim pack of the lateral rod"


@dataclass(frozen=True, slots=True)
class EndShims:
    """Packs that move the ends of an axle; ``forward`` where a thicker pack moves its end
    forward. No pack may become thicker than ``most_m``; packs that come as near as
    ``good_enough_m`` are equally good, and the least work counts."""

    ends: Ends
    kinds: tuple[ShimKind, ...]
    forward: bool
    most_m: float
    good_enough_m: float = 0.0


@dataclass(frozen=True, slots=True)
class LateralShims:
    """One pack at a rod across the vehicle, its kinds counted as ``left``; ``to_left`` where a
    thicker pack moves the axle to the left."""

    kinds: tuple[ShimKind, ...]
    to_left: bool
    most_m: float
    good_enough_m: float = 0.0


def correct_by_shims(wanted: Wanted, shims: EndShims) -> Correction:
    """Turn an axle by ``wanted.change`` as nearly as the shims allow.

    Raises: ``MeasurementRefused`` where no pack fits, or too many would have to be tried.
    """
    sign = 1.0 if shims.forward else -1.0
    relative_m = shims.ends.between_m * math.tan(wanted.change)
    now_m = [_thickness_m(shims.kinds, side) for side in SIDES]
    free = tuple(side in shims.ends.sides for side in SIDES)
    sought = Sought(
        now_m[1] - now_m[0] + sign * relative_m,
        (free[0], free[1]),
        shims.most_m,
        shims.good_enough_m,
    )
    packs = _found(shims.kinds, sought)
    steps: list[Step] = []
    moved_m: dict[Side, float] = {}
    for at, side in enumerate(SIDES):
        grown_m = (packs.left_nm, packs.right_nm)[at] / NM_PER_M - now_m[at]
        moved_m[side] = sign * grown_m
        if free[at]:
            effect = f"its end of the axle goes {lengthwise(sign * grown_m)}"
            steps.append(_step(side, shims.kinds, packs, grown_m, effect))
    found = axle_ends.outcome(wanted, shims.ends, moved_m)
    beyond = tuple(_beyond(now_m, shims.most_m))
    return Correction(tuple(steps), (found,), axle_ends.also(moved_m), beyond=beyond)


def correct_by_lateral_shims(wanted: Wanted, shims: LateralShims) -> Correction:
    """Move an axle across the vehicle by ``wanted.change`` as nearly as the shims allow.

    The offset is half of what the distances to the frame differ by from side to side.
    Raises: ``MeasurementRefused`` as ``correct_by_shims``.
    """
    sign = 1.0 if shims.to_left else -1.0
    now_m = _thickness_m(shims.kinds, Side.LEFT)
    # The pack's thickness counts as left less right, so what is sought has its sign turned.
    difference_m = -(now_m + sign * wanted.change)
    sought = Sought(difference_m, (True, False), shims.most_m, shims.good_enough_m)
    packs = _found(shims.kinds, sought)
    grown_m = packs.left_nm / NM_PER_M - now_m
    effect = f"the axle goes to the {crosswise(sign * grown_m)}"
    step = _step(None, shims.kinds, packs, grown_m, effect)
    found = wanted.changed(sign * grown_m)
    also = "Check the clearance of tyres, brake chambers and frame on both sides."
    return Correction((step,), (found,), (also,), beyond=tuple(_beyond([now_m], shims.most_m)))


def _thickness_m(kinds: Sequence[ShimKind], side: Side) -> float:
    counts = (kind.left if side is Side.LEFT else kind.right for kind in kinds)
    total_nm = sum(n * kind.thickness_nm for n, kind in zip(counts, kinds, strict=True))
    return total_nm / NM_PER_M


def _beyond(now_m: Sequence[float], most_m: float) -> Iterator[str]:
    """Yield which packs, as they are, are thicker than allowed: left and right, or a rod's one."""
    names = ("left shim pack", "right shim pack") if len(now_m) > 1 else (ROD,)
    for name, thick_m in zip(names, now_m, strict=True):
        if round((thick_m - most_m) * NM_PER_M) > 0:
            yield (
                f"The {name} is {plain_mm(thick_m)} thick, the maker's limit is "
                f"{plain_mm(most_m)}: it must be thinner."
            )


def _found(kinds: Sequence[ShimKind], sought: Sought) -> Packs:
    packs = best_packs(kinds, sought)
    if packs is not None:
        return packs
    fitted_m = max(_thickness_m(kinds, side) for side in SIDES)
    raise MeasurementRefused(
        "pack-too-thick",
        f"a pack that stays as it is holds {fitted_m * 1e3:.4g} mm, the most allowed is "
        f"{sought.most_m * 1e3:.4g} mm; check the pack, and what its maker allows",
        figure=fitted_m * 1e3,
        limit=sought.most_m * 1e3,
    )


def _step(
    side: Side | None, kinds: Sequence[ShimKind], packs: Packs, grown_m: float, effect: str
) -> Step:
    part = ROD if side is None else f"{side} shim pack"
    at = 1 if side is Side.RIGHT else 0
    counts = [pair[at] for pair in packs.counts]
    before = [(kind.left, kind.right)[at] for kind in kinds]
    pack = tuple(k.thickness_m for k, n in zip(kinds, counts, strict=True) for _ in range(n))
    acts = list(_acts(kinds, before, counts))
    if not acts:
        text = f"Leave the {part} as it is."
        return Step(part, LEAVE, text, side, 0.0, thicknesses_m=pack)
    holds = " + ".join(plain_mm(thickness_m) for thickness_m in pack) or "no shim"
    text = f"{part.capitalize()}: {', '.join(acts)}; in the end it holds {holds}"
    if round(grown_m * NM_PER_M):
        text += f", and {effect} by {millimetres(grown_m)}"
    return Step(part, "change shims", f"{text}.", side, grown_m, thicknesses_m=pack)


def _acts(kinds: Sequence[ShimKind], before: Sequence[int], after: Sequence[int]) -> Iterator[str]:
    for words, sign in (("take out", -1), ("put in", 1)):
        parts = [
            f"{sign * (b - a)} of {plain_mm(kind.thickness_m)}"
            for kind, a, b in zip(kinds, before, after, strict=True)
            if sign * (b - a) > 0
        ]
        if parts:
            yield f"{words} {' and '.join(parts)}"
