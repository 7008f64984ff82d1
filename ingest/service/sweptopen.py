"""What calibration leaves open of a swept wheel's readings, carried into caster and SAI."""

import math

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import F64
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.geometry.sweep.motion import slopes
from ingest.geometry.sweep.readings import Sweep
from ingest.geometry.sweep.steering import Steering
from ingest.service.sweptwheel import SweptWheel

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

    def put(source: Source, i: int, channel: int, components: F64) -> None:
        shape = (components.size, channels, len(used))
        errors.setdefault(source, np.zeros(shape))[:, channel, i] += components

    names = (Channel.INCL_Y.value, Channel.INCL_X.value)
    known = wheel.instrument
    for i, row in enumerate(used):
        read = dict(zip(names, (row.incl_y_rad, row.incl_x_rad or 0.0), strict=True))
        turned = wheel.by.left_open(known, row.steer_rad if row.steer_rad is not None else math.nan)
        ahead = wheel.toe * -wheel.side.sign
        for channel, name in enumerate(names[:channels]):
            for part in known.left_open(name, read, wheel.degc).parts:
                put(part.source, i, channel, np.array(part.components))
            for part in (*turned.parts, *ahead.parts):
                put(part.source, i, channel, -by_steer[channel, i] * np.array(part.components))
    return errors


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
