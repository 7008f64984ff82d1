"""Which results a sweep of an axle gives."""

from collections.abc import Iterator

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.service.ground import Ground
from ingest.service.sweepfit import SweptAxle


def results_of(swept: SweptAxle, ground: Ground) -> Iterator[tuple[str, str, Measured, bool]]:
    """Yield place, quantity, value in rad, and whether it is told against the ground."""
    seen = {}
    for side, each in swept.sides.items():
        seen[side] = ground.steering(side, each.caster, each.camber, each.sai)
        yield side.value, "caster", seen[side].caster, True
        sai, included = seen[side].sai, seen[side].included
        if sai is not None and included is not None:
            yield side.value, "sai", sai, True
            yield side.value, "included-angle", included, True
        for to, turned in each.turned.items():
            yield side.value, f"turning-angle-{to.value}", turned, False
            if swept.stops and side is to:
                yield side.value, "lock-angle", turned, False
    left, right = seen[Side.LEFT], seen[Side.RIGHT]
    yield "both", "cross-caster", left.caster - right.caster, True
    yield "both", "cross-camber", left.camber - right.camber, True
    if left.sai is not None and right.sai is not None:
        yield "both", "cross-sai", left.sai - right.sai, True
    for to, toe_out in swept.toe_out.items():
        yield "both", f"toe-out-{to.value}", toe_out, False
