"""Results of an axle from the heads on its two wheels."""

import math

from calibration.measured import Measured


def total_toe(left_heading: Measured, right_heading: Measured) -> Measured:
    """Return the total toe of an axle, toe-in positive, rad.

    Both headings are told against the same cross sightline, each seen from its own end, as
    ``carry.settled_wheel`` gives them: seen from the right it points the other way round, so
    the sum of the toes is half a turn plus right less left. What both share (one record, one
    reference) keeps its correlation.
    """
    toe = right_heading - left_heading
    turned = math.remainder(toe.value + math.pi, 2.0 * math.pi)
    return Measured(turned, toe.parts, toe.stands_on)
