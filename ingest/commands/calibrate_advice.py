"""What to read next, after any calibration from files: what lowers the uncertainty most."""

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.bench.procedure import Procedure
from calibration.bench.sine_steps import SineSteps
from calibration.bench.tumble import Tumble
from calibration.bench.turned_about import Reversal
from calibration.files.series import AXES, Series
from calibration.fits.tilt_temperature import fit_temperature, next_soak

ENOUGH = "nothing is needed; of further readings this tells most"


@dataclass(frozen=True, slots=True)
class Advice:
    """What to read next, in words; ``needed`` while something is open or not as sure as wanted.

    ``never``: what no reading of this kind tells.
    """

    text: str
    needed: bool
    never: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """The advice for people."""
        told = [f"  never from these readings alone: {', '.join(self.never)}"] if self.never else []
        return [*told, f"  next: {self.text}" if self.needed else f"  next: {ENOUGH}: {self.text}"]

    @property
    def as_json(self) -> dict[str, Any]:
        """The advice for programs."""
        return {"next": self.text, "next_needed": self.needed, "never": list(self.never)}


def advised(procedure: Procedure, series: Series) -> Advice:
    """Return what a guided series would take next after the rows of a file."""
    rows = [row.cells for row in series.rows]
    progress, target = procedure.progress(rows), procedure.targets(rows)[0]
    text = f"{target.name}: {' '.join(target.do)}"
    return Advice(text, not progress.enough, progress.never)


def advised_of_tilt(files: Sequence[Series], sine_bar_mm: float | None) -> Advice | None:
    """Return the advice of the first file that is not done, else of the first; None: of none.

    What a file never tells, another may: what is open of the whole is said apart.
    """
    told = [each for each in (_of(file, sine_bar_mm) for file in files) if each is not None]
    best = next((each for each in told if each.needed), told[0] if told else None)
    return best and Advice(best.text, best.needed)


def soak_advice(file: Series) -> Advice:
    """Return which axis to read at which angle and temperature, of those of an oven's file."""
    axes = [row.word("axis", AXES) for row in file.rows]
    missing = [axis for axis in AXES if axis not in axes]
    if missing:
        return Advice(f"{missing[0]} in the oven, level and raised", needed=True)
    best = max(_soaks(file, axes), key=lambda each: each[0])
    return Advice(best[1], needed=not math.isfinite(best[0]))


def _of(file: Series, sine_bar_mm: float | None) -> Advice | None:
    if file.kind == "sphere":
        return advised(Tumble(), file)
    if file.kind == "reversal":
        return advised(Reversal(), file)
    if file.kind == "oven":
        return soak_advice(file)
    if sine_bar_mm is None:
        return None
    heights = dict.fromkeys(row.text("height_mm") for row in file.rows)
    return advised(SineSteps(sine_bar_mm, tuple(h for h in heights if float(h) > 0)), file)


def _soaks(file: Series, axes: Sequence[str]) -> Iterable[tuple[float, str]]:
    """Yield for each axis how unsure its drift is, without end where it is open, and the words."""
    degc, angle, raw = file.temperatures(), file.column_rad("true_deg", 90.0), file.sines()
    seen = degc[np.isfinite(degc)]
    middle = float(seen.mean()) if seen.size else 20.0
    raised = float(np.abs(angle).max()) or math.radians(5.0)
    candidates = list(
        itertools.product(
            (seen.min(initial=middle), seen.max(initial=middle)), (0.0, raised, -raised)
        )
    )
    for i, axis in enumerate(AXES):
        own = np.array([each == axis for each in axes])
        at = np.where(np.isfinite(degc), degc, middle)[own]
        fit = fit_temperature(raw[own, i], np.sin(angle[own]), at, middle)
        above, sines = np.array([(t - middle, math.sin(a)) for t, a in candidates]).T.tolist()
        found = next_soak(fit, above, sines)
        t, a = candidates[found.index]
        words = f"{axis} {math.degrees(a):+.2f}° in the oven at {t:.0f} °C"
        yield (math.inf if fit.undetermined else found.sigmas), words
