"""What no sensor and no seat explain, seen before any fit: each by its file, row and column.

Fits of such rows do not settle, or settle on nonsense without a word.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from calibration.drafting.impossible import Impossible
from calibration.drafting.tilt_rows import TiltSetup, placed_rows, placements, tumbled
from calibration.files.series import TILT, Series
from calibration.files.table import Row
from calibration.fits.tilt_sphere import BIAS_AND_SCALE, LEAST_SPAN

SCALES = (0.5, 2.0)
"""True over raw: no inclination sensor in working order is beyond these (our own choice)."""
GROSS_DEG = 2.0
"""Farther from the others no head at rest on its place reads: the row says what was not so."""
GROSS_SHARE = 0.25
"""Of the known angle: how much a sensor's own scale may add to that (our own choice)."""
UNITS = {25.4: "inches", 10.0: "cm", 1000.0: "m"}
"""By how many millimetres one of them has."""
RADIANS = 0.03
"""What a face reads is no more than this share of gravity where radians pass for degrees."""
UNIT_NEAR = 0.15
"""So near the factor between two units a row was most likely given in the other one."""


def first_impossible(files: Sequence[Series], setup: TiltSetup) -> Impossible | None:
    """Return the first reading that cannot be, None where all may be.

    Raises:
        BadBenchData: as ``find_tilt``.
        CalibrationFileError: a row in another unit than its column says.
    """
    for file in files:
        told = _off_gravity(file) if file.kind == "sphere" else _off_angles(file, setup)
        first = next(told, None)
        if first is not None:
            return first
    return None


def _off_gravity(file: Series) -> Iterator[Impossible]:
    """Yield attitudes in which the axes together read much more or less than gravity."""
    if not file.has_z:
        return
    for row, share in zip(file.rows, np.linalg.norm(file.sines(), axis=1).tolist(), strict=True):
        if SCALES[0] < share < SCALES[1]:
            continue
        told = f"incl_x_deg, incl_y_deg and incl_z_deg together read {share:.2g} of gravity"
        if share < RADIANS:
            raise row.fault(f"{told}; give degrees, not radians or shares of gravity")
        limit = SCALES[0] if share < 1.0 else SCALES[1]
        text = f"{file.where}, row {row.number}: {told}, limit {limit:g}; take it again"
        yield Impossible(text, share, limit)


def _off_angles(file: Series, setup: TiltSetup) -> Iterator[Impossible]:
    """Yield rows whose axis stands elsewhere against its known angle than in the other rows."""
    for placed, rows in zip(placements(file, setup), placed_rows(file), strict=True):
        if file.kind == "reversal":
            continue  # what is read both ways round may lie on any slope
        known = np.degrees(placed.angle_rad)
        off = np.degrees(np.arcsin(placed.raw[:, placed.axis])) - known
        off -= np.median(off)
        for row, angle, each in zip(rows, known.tolist(), off.tolist(), strict=True):
            limit = GROSS_DEG + GROSS_SHARE * abs(angle)
            if abs(each) > limit:
                yield _impossible(file, row, f"{TILT[placed.axis]}_deg", angle, each, limit)


def _impossible(
    file: Series, row: Row, column: str, known_deg: float, off_deg: float, limit: float
) -> Impossible:
    """Return a row that is off; raises ``CalibrationFileError`` where its unit explains it."""
    sine, known = (math.sin(math.radians(a)) for a in (known_deg + off_deg, known_deg))
    ratio = sine / known if known else math.inf
    makes = "true_deg says"
    if row.has("height_mm"):
        makes = f"height_mm {row.text('height_mm')} with sign {row.text('sign')} makes"
    told = f"{column} is {off_deg:+.2f} deg off the others where {makes} {known_deg:.3f} deg"
    if _near(ratio * math.degrees(1.0)):
        raise row.fault(f"{told}: it looks like radians; give {column} in degrees")
    for size, unit in UNITS.items() if row.has("height_mm") else ():
        if _near(ratio / size):
            raise row.fault(f"{told}: the height looks like {unit}; give mm")
        if _near(ratio * size):
            raise row.fault(f"{told}: the sine bar's length looks like {unit}; give mm")
    text = (
        f"{file.where}, row {row.number}: {told}, limit {limit:.2g} deg; look for a wrong value, "
        "sign or axis in it, or take it again"
    )
    return Impossible(text, abs(off_deg), limit)


def _near(ratio: float) -> bool:
    return abs(ratio - 1.0) < UNIT_NEAR


def unspanned(files: Sequence[Series], setup: TiltSetup) -> dict[int, float]:
    """Return the axes that a sphere alone has not tipped far enough, with the share of gravity
    over which each moved; of fewer attitudes than tell anything, none."""
    if {file.kind for file in files} != {"sphere"} or not all(file.has_z for file in files):
        return {}
    raw = tumbled(files, setup).raw
    if len(raw) < BIAS_AND_SCALE:
        return {}
    spans = np.ptp(raw, axis=0).tolist()
    return {axis: span for axis, span in enumerate(spans) if span < LEAST_SPAN}
