"""The budget of an encoder's zero that stands on how the head sat on the spindle."""

import numpy as np

from calibration.fits.encoder_turn import SeatedZero
from calibration.records.results import Budget
from calibration.verification.budget import Input, evaluate
from calibration.verification.models import ANY
from calibration.verification.record_budgets import part_of

AT = "zero from the seat on the spindle"
"""What a record calls such a budget, so that a zero from elsewhere takes its place."""
LINES = (
    "zero as the head sat (deg)",
    "reference angle (deg)",
    "half the gap between up and down (deg)",
    "seat of the head on the spindle (deg)",
)


def seat_budget(channel: str, zero: SeatedZero) -> Budget:
    """Return the budget: zero = as it sat - reference + half the gap - seat."""
    inputs = (
        Input.readings(LINES[0], zero.as_sat_deg, zero.u_fit_deg, zero.dof),
        Input(LINES[1], 0.0, zero.u_reference_deg),
        Input(LINES[2], 0.0, zero.half_gap_deg),
        Input.certificate(LINES[3], zero.seat_deg, zero.U_seat_deg, 2.0),
    )
    return part_of(channel, AT, evaluate(inputs, _zero), None)


def without(budgets: tuple[Budget, ...], channel: str) -> tuple[Budget, ...]:
    """Return the budgets of a draft less that of a channel's zero."""
    return tuple(b for b in budgets if (b.channel, b.at) != (channel, AT))


def _zero(inputs: ANY) -> ANY:
    result: ANY = np.array([1.0, -1.0, 1.0, -1.0]) @ inputs
    return result
