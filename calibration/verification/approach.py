"""How a reference that is turned stops at its angle, in the errors and their budgets.

A spindle with backlash, or a worn index plate, stops off its angle to one side when it is come to
upward and to the other side downward. Readings of a head against it cannot tell this from a lag of
the head itself.
"""

from dataclasses import dataclass

from calibration.files.references import Reference
from calibration.verification.budget import Input
from calibration.verification.errors_at_points import HeadShare, PointError, known_angle_errors
from calibration.verification.figures import hysteresis
from calibration.verification.models import APART, KNOWN_ANGLE
from calibration.verification.series import Series
from calibration.verification.setup import ABSOLUTE


@dataclass(frozen=True, slots=True)
class Approached:
    """The errors; ``together``: up and down differ by more than the reference's papers explain."""

    points: tuple[PointError, ...]
    together: bool


def against(series: Series, reference: Reference, head: HeadShare) -> Approached:
    """Return the errors against a reference, with how it was approached in their budgets.

    Where its papers state ``backlash_deg`` that is its share of a gap, and what is beyond is the
    head's. Where they are silent they explain no gap: one beyond what the readings' uncertainty
    makes of it is the head's or the reference's, and nobody knows in which shares.

    Raises:
        BadBenchData: as ``known_angle_errors``.
    """
    points = known_angle_errors(series, reference, head)
    if reference.kind in ABSOLUTE:
        return Approached(points, together=False)
    if reference.backlash_deg is not None:
        stated = Input.limits(KNOWN_ANGLE[5], 0.0, float(reference.backlash_deg) / 2.0)
        return Approached(known_angle_errors(series, reference, head, stated), together=False)
    gap = hysteresis(points)
    if gap is None or abs(gap.value) <= (gap.expanded or 0.0):
        return Approached(points, together=False)
    # Wherever within the gap the reference stands true, its middle is off by half the gap at most,
    # and nothing makes one place likelier than another: rectangular (GUM 4.3.7), which is GUM
    # F.2.2.2 for a side that cannot be corrected for, u = 0.29 times the range. The widest gap
    # counts for all angles: where it is small now it may be so by chance.
    seen = Input.limits(APART, 0.0, abs(gap.value) / 2.0)
    return Approached(known_angle_errors(series, reference, head, seen), together=True)
