"""The zero of toe, held against the reference bar: azimuths as the bar lies and turned end for end.

A head on its end of the bar sees the other along it. What its azimuth then says, corrected and less
its nominal quarter turn, is the error of its zero beside what the bar adds: how far its end swings,
and how the ports differ. Both are taken from the fit of the bar in the same draft, which read the
bar rolled over and with the heads exchanged; the readings here are others, taken for themselves.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.decision import Rule
from calibration.errors import BadBenchData
from calibration.files.check_rows import CheckReading
from calibration.files.references import Reference
from calibration.records.record import CalibrationRecord
from calibration.sensors import Correction
from calibration.verification.bar_form import AGREE, SEAT_RAD, azimuth_shares, bar_fits, corrected
from calibration.verification.budget import Budget, Input, evaluate
from calibration.verification.figures import Figure
from calibration.verification.head_class import HeadClass
from calibration.verification.models import ANY
from calibration.verification.run import ChannelResult, Verification
from calibration.verification.verdicts import verdicts_of

F64 = NDArray[np.float64]

CHANNEL = "azimuth_cross"
AT = "zero on the bar"
LINES = (
    "indication on the bar (deg)",
    "resolution of the head (deg)",
    "seat of the head on the bar (deg)",
    "form of the bar by its fit (deg)",
)
FEWEST = 2


@dataclass(frozen=True, slots=True)
class OnBar:
    """One head's corrected azimuths on the bar, deg, beside their quarter turn.

    ``apart_deg`` is what they differ by between the attitudes, ``limit_deg`` by how much they may.
    """

    head: str
    sight_deg: F64
    apart_deg: float
    limit_deg: float


def on_bar(readings: Sequence[CheckReading], head: str, correction: Correction) -> OnBar:
    """Return what one head says on the bar.

    Raises:
        BadBenchData: an attitude is missing, or was read too seldom for a scatter.
    """
    means, sights = [], []
    for turned in (False, True):
        own = [r for r in readings if (r.head, r.turned) == (head, turned)]
        if len(own) < FEWEST:
            why = f"head {head} has {len(own)} readings with turned = {turned:d}"
            raise BadBenchData("bar", why, f"take {FEWEST} at least")
        sights.append(np.degrees(corrected(own, correction)[CHANNEL]))
        means.append(float(sights[-1].mean()))
    limit_deg = AGREE * math.degrees(SEAT_RAD) * math.sqrt(2.0)
    return OnBar(head, np.concatenate(sights), means[1] - means[0], limit_deg)


def zero_error(found: OnBar, draft: CalibrationRecord, bar: Reference, step_deg: float) -> Budget:
    """Return the error of the zero with its budget, deg.

    Raises:
        BadBenchData: the draft does not know this bar's form.
    """
    n = len(found.sight_deg)
    scatter = float(found.sight_deg.std(ddof=1)) / math.sqrt(n)
    inputs = (
        Input.readings(LINES[0], float(found.sight_deg.mean()), scatter, n - 1),
        Input.limits(LINES[1], 0.0, step_deg / 2.0),
        # The heads stay tightened between the attitudes: the readings share how they sit.
        Input(LINES[2], 0.0, math.degrees(SEAT_RAD)),
        _form(draft, found.head, bar),
    )
    return evaluate(inputs, _error)


def with_zero(
    result: Verification,
    budget: Budget,
    bar: Reference,
    head_class: HeadClass,
    rule: Rule,
    step_deg: float,
) -> Verification:
    """Return the verification with the zero among its figures and decided."""
    k = budget.k
    figure = Figure("zero", budget.measured, "deg", "on the bar, both ways round", k)
    verdicts = verdicts_of(CHANNEL, (), (figure,), head_class, rule)
    empty = ChannelResult(CHANNEL, step_deg, (), (), ())
    own = next((c for c in result.channels if c.channel == CHANNEL), empty)
    whole = replace(
        own,
        figures=(*own.figures, figure),
        verdicts=(*own.verdicts, *verdicts),
        budgets=((AT, budget),),
    )
    others = {c.channel: c for c in result.channels} | {CHANNEL: whole}
    references = {r.id: r for r in (*result.references, bar)}
    return replace(result, channels=tuple(others.values()), references=tuple(references.values()))


def _form(draft: CalibrationRecord, head: str, bar: Reference) -> Input:
    fit = bar_fits(draft.fits).get("azimuth")
    named = bar.id in {use.id for use in draft.references}
    why = f"the draft does not know how the ends of bar {bar.id} swing"
    remedy = "calibrate on it first (levelhead calibrate bar)"
    if fit is None or not named:
        raise BadBenchData("bar", why, remedy)
    shares = azimuth_shares(head, float(bar.value) / 1e3)
    at = [fit.names.index(name) for name in shares]
    values = np.array([fit.values[i] for i in at], dtype=np.float64)
    block = np.array([[fit.covariance[i][j] for j in at] for i in at], dtype=np.float64)
    if not (np.isfinite(values).all() and np.isfinite(block).all()):
        raise BadBenchData("bar", why, remedy)
    weights = np.array(list(shares.values()))
    u = math.degrees(math.sqrt(float(weights @ block @ weights)))
    dof = math.inf if fit.dof is None else fit.dof
    return Input.readings(LINES[3], math.degrees(float(weights @ values)), u, dof)


def _error(inputs: ANY) -> ANY:
    result: ANY = np.array([1.0, 1.0, 1.0, -1.0]) @ inputs
    return result
