"""A swept wheel's steering as something else read it: does it contradict what was used?"""

import math

import numpy as np

from calibration.reporting import t_factor
from ingest.core.frames import Side
from ingest.geometry.sweep.steering import Steering
from ingest.service.sweepfit import SweptAxle
from ingest.service.sweptwheel import SweptWheel

FALSE_ALARM = 0.01
"""Two sound readings of a wheel's steering are said to contradict each other in so many cases (ours
to choose). A plate whose scale is 3 % off is then found in 97 % beside a sightline along."""
APART_U = t_factor(1.0 - FALSE_ALARM, math.inf)
"""So many standard uncertainties apart they contradict."""


def apart(steering: Steering, own: SweptWheel, other: SweptWheel) -> tuple[float, float]:
    """Return by how much another reading of a steering is larger than the one that was used.

    As a share of it, with its standard uncertainty: a plate that slips under its tyre and a port
    that is not where it is taken to be change the ratio alike. NaN where nothing was steered.
    """
    at = own.steer_at(other.t_ns)
    seen = np.isfinite(at)
    one = own.headings(steering, at[seen])
    two = other.headings(steering, other.steer_rad[seen])
    square = float(one @ one)
    share = float(one @ two) / square - 1.0 if square else math.nan
    return share, math.hypot(own.scale, other.scale)


def compared(
    swept: SweptAxle, wheels: dict[Side, SweptWheel], others: dict[Side, SweptWheel]
) -> str:
    """Say where a second reading of a wheel's steering contradicts the one that was used."""
    said = []
    for side, other in others.items():
        off, u = apart(swept.sides[side].steering, wheels[side], other)
        if abs(off) > APART_U * u:
            said.append(
                f"{side.value}: {other.by.channel.value} reads {100.0 * off:+.2f} % against "
                f"{wheels[side].by.channel.value}, limit {100.0 * APART_U * u:.2f} %"
            )
    return "; ".join(said)
