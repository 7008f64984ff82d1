"""Every part that an adjustment turns, and the correction by whichever it is."""

from ingest.geometry.corrections.arms import Arms, correct_by_arms
from ingest.geometry.corrections.bar_pin import BarPins, correct_by_bar_pins
from ingest.geometry.corrections.drag_link import DragLink, correct_by_drag_link
from ingest.geometry.corrections.eccentric import Eccentrics, correct_by_eccentrics
from ingest.geometry.corrections.relay_rod import RelayRod, correct_by_relay_rod
from ingest.geometry.corrections.shims import (
    EndShims,
    LateralShims,
    correct_by_lateral_shims,
    correct_by_shims,
)
from ingest.geometry.corrections.steering_stop import SteeringStop, correct_by_steering_stop
from ingest.geometry.corrections.tie_rod import TieRod, correct_by_tie_rod
from ingest.geometry.corrections.wanted import Correction, Wanted
from ingest.geometry.corrections.wedges import Wedges, correct_by_wedges

EndParts = Arms | Eccentrics | EndShims | BarPins
"""What turns an axle by its ends."""

AdjusterPart = EndParts | LateralShims | TieRod | DragLink | RelayRod | SteeringStop | Wedges


def correct_by(part: AdjusterPart, *wanted: Wanted) -> Correction:
    """Return the correction by a part of one value; by wedges of both casters, left then right.

    Raises: ``MeasurementRefused`` where the part cannot do it.
    """
    if isinstance(part, Wedges):
        left, right = wanted
        return correct_by_wedges((left, right), part)
    (one,) = wanted
    match part:
        case Arms():
            return correct_by_arms(one, part)
        case Eccentrics():
            return correct_by_eccentrics(one, part)
        case EndShims():
            return correct_by_shims(one, part)
        case BarPins():
            return correct_by_bar_pins(one, part)
        case LateralShims():
            return correct_by_lateral_shims(one, part)
        case TieRod():
            return correct_by_tie_rod(one, part)
        case DragLink():
            return correct_by_drag_link(one, part)
        case RelayRod():
            return correct_by_relay_rod(one, part)
        case SteeringStop():
            return correct_by_steering_stop(one, part)
