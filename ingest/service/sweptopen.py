"""What calibration leaves open of a swept wheel's readings, carried into caster and SAI."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import F64
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.geometry.sweep.guided import SweepReading
from ingest.geometry.sweep.motion import slopes
from ingest.geometry.sweep.readings import Sweep
from ingest.geometry.sweep.steering import Steering
from ingest.service.sweptwheel import SweptWheel

TILTS = (Channel.INCL_Y.value, Channel.INCL_X.value)

Errors = dict[Source, F64]
"""By source (k, c, n): what its k components do to each channel of n readings, rad."""


def errors_of(steering: Steering, wheel: SweptWheel, sweep: Sweep) -> Errors:
    """Return what every reading that was used may be off by: tilts, plate, straight ahead.

    A steering that reads too much by e moves the tilts' misfits as tilts would that read too little
    by e times their slope.
    """
    kept = np.ones(len(sweep), dtype=np.bool_)
    kept[list(steering.outliers)] = False
    used = [row for row, keep in zip(wheel.rows, kept, strict=True) if keep]
    channels = steering.gain.shape[1]
    by_steer = slopes(sweep.only(kept), steering.unknowns)[2][:channels]
    errors: Errors = {}

    def add(channel: int, told: Sequence[Measured], factor: F64 | float) -> None:
        for source, each in _by_source(told).items():
            if source not in errors:
                errors[source] = np.zeros((len(each), channels, len(used)))
            errors[source][:, channel, :] += each * factor

    known, ahead = wheel.instrument, wheel.toe * -wheel.side.sign
    read = [_read(row) for row in used]
    steered = (math.nan if row.steer_rad is None else row.steer_rad for row in used)
    turned = [wheel.by.left_open(known, steer_rad) for steer_rad in steered]
    for channel, name in enumerate(TILTS[:channels]):
        add(channel, [known.left_open(name, each, wheel.degc) for each in read], 1.0)
        add(channel, turned, -by_steer[channel])
        add(channel, [ahead] * len(used), -by_steer[channel])
    return errors


def _read(row: SweepReading) -> dict[str, float]:
    return dict(zip(TILTS, (row.incl_y_rad, row.incl_x_rad or 0.0), strict=True))


def _by_source(told: Sequence[Measured]) -> dict[Source, F64]:
    """Return what each source adds to n values, by its k components: (k, n)."""
    found: dict[Source, tuple[list[int], list[tuple[float, ...]]]] = {}
    for place, each in enumerate(told):
        for part in each.parts:
            places, components = found.setdefault(part.source, ([], []))
            places.append(place)
            components.append(part.components)
    spread = {}
    for source, (places, components) in found.items():
        spread[source] = np.zeros((len(components[0]), len(told)))
        spread[source][:, places] = np.transpose(components)
    return spread


def left_open(steering: Steering, errors: dict[Side, Errors]) -> tuple[Measured, Measured]:
    """Return what such errors of both wheels' readings leave open in a wheel's caster and SAI."""
    sums: dict[Source, F64] = {}
    for side, gain in ((steering.side, steering.gain), (steering.side.other, steering.across)):
        if gain is not None:
            for source, each in errors[side].items():
                moved = np.einsum("qcn,kcn->qk", gain[:2], each)
                sums[source] = sums.get(source, 0.0) + moved
    told = [(source, moved.tolist()) for source, moved in sums.items()]
    caster, sai = (
        Measured(0.0, tuple(Part(source, tuple(moved[i])) for source, moved in told))
        for i in range(2)
    )
    return caster, sai
