"""Which readings a calibration refuses: those that cannot be, then those that are gross.

Before any fit the rows are screened for what no sensor and no seat explain: another unit, sign or
axis. Fits of such rows do not settle, or settle on nonsense. After it each reading is held against
the others, by what they scatter.
"""

import math
from collections.abc import Mapping

from calibration.drafting.impossible import Impossible
from calibration.fits.outlying import LEAST_RAD, TIMES_U, most_outlying
from calibration.fits.result import Fit
from ingest.core.errors import MeasurementRefused

AGAIN = "mark it withdrawn and take it again"


def see_none_impossible(found: Impossible | None) -> None:
    """Refuse a reading that cannot be, before any fit. Raises ``MeasurementRefused``."""
    if found is not None:
        raise MeasurementRefused("gross-error", found.text, figure=found.figure, limit=found.limit)


def see_none_gross(
    fits: Mapping[str, Fit], what: str, *, again: str = AGAIN, scatter: bool = False
) -> None:
    """Refuse a reading that the others do not explain: it spoils those beside it, too.

    ``what`` is what its row may have wrong; ``again`` how it is taken anew where nothing is.
    ``scatter``: several such readings hide each other, so that no reading may scatter by more than
    a head at rest does either.

    Raises:
        MeasurementRefused: naming the fit, the reading, how far it is off, and the limit.
    """
    least = math.degrees(LEAST_RAD)
    for of, fit in fits.items():
        each = most_outlying(fit)
        if each is not None:
            off, limit = math.degrees(each.off_rad), math.degrees(each.limit_rad)
            text = (
                f"{of}: {each.label} is {off:+.2f} deg off the others, limit {limit:.2f} deg "
                f"({TIMES_U:g} u, {least:g} at least): look for a wrong {what} in its row, or "
                f"{again}"
            )
            raise MeasurementRefused("gross-error", text, figure=abs(off), limit=limit)
        if scatter and fit.sigma > LEAST_RAD:
            size = math.degrees(fit.sigma)
            text = (
                f"{of}: one reading scatters by {size:.2f} deg, limit {least:g} deg: rows are off, "
                f"too few to tell which; look for a wrong {what}, or take them again"
            )
            raise MeasurementRefused("scatter", text, figure=size, limit=least)
