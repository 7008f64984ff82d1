"""The study of a bay as a gauge: what its mountings, its wheels' settling and its people scatter.

Technicians measure the same wheels of one vehicle that stands still in between: each takes the
heads off and puts them on again (a mounting, with a run-out turn of its own), and within each
mounting the wheels are rolled and settled again. The vehicle is the same throughout, so what
differs is the bay's. Every cell is filled alike; anything else is refused by name.
"""

import datetime
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from calibration.anova import INTERACTION, SETTLING, TECHNICIAN, Anova, Component, analyse
from calibration.errors import BadBenchData, CalibrationFileError
from calibration.faults import fault_of
from calibration.records.canonical import digest, parse, unaltered
from calibration.records.fields import Count, MaybeSha256, Sha256, Word

F64 = NDArray[np.float64]

FORMAT = "levelhead-bay-study"
QUANTITIES = ("camber", "total-toe")
FEW_DOF = 5.0
"""Below this, the factor that expands an uncertainty exceeds 2.6; a study should have more."""

Cause = Literal["settling", "mounting", "interaction", "technician", "wheel"]
BayName = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]
Finite = Annotated[float, Field(allow_inf_nan=False)]
NotNegative = Annotated[Finite, Field(ge=0.0)]


@dataclass(frozen=True, slots=True)
class StudyReading:
    """One settled result of the study, deg. ``wheel``: such as ``axle 1 left`` or ``axle 1``."""

    row: int
    technician: str
    wheel: str
    mounting: int
    settling: int
    quantity: str
    value_deg: float


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class TableRow(_Model):
    """One row of the table of the analysis of variance, in deg^2."""

    cause: Cause
    ss: NotNegative
    dof: Count


class Spread(_Model):
    """What one cause scatters: a standard deviation with its degrees of freedom.

    ``variance`` (deg^2) is the estimate as it came out, negative included; ``low_deg`` and
    ``high_deg`` are the ends of its 95 % interval as standard deviations.
    """

    cause: Cause
    u_deg: NotNegative
    dof: Annotated[Finite, Field(gt=0.0)] | None
    variance: Finite
    low_deg: NotNegative
    high_deg: NotNegative


class Quantity(_Model):
    """One quantity's share of the study. ``pooled``: technician by wheel counts as chance."""

    quantity: Literal["camber", "total-toe"]
    wheels: tuple[Word, ...]
    technicians: tuple[Word, ...]
    mountings: Count
    settlings: Count
    table: tuple[TableRow, ...]
    components: tuple[Spread, ...]
    p_interaction: Annotated[Finite, Field(ge=0.0, le=1.0)] | None
    pooled: bool

    def of(self, cause: str) -> Spread | None:
        """Return what one cause scatters; None where this design cannot tell."""
        return next((each for each in self.components if each.cause == cause), None)

    @property
    def u_deg(self) -> float:
        """Standard deviation of one result of any technician of the bay."""
        return float(np.sqrt(sum(each.u_deg**2 for each in self.components)))

    @property
    def dof(self) -> float | None:
        """Effective degrees of freedom of ``u_deg``; None where nothing scattered."""
        told = [c.u_deg**4 / c.dof for c in self.components if c.dof is not None]
        return self.u_deg**4 / sum(told) if sum(told) > 0.0 else None


class RawReadings(_Model):
    """The file that the study was computed from."""

    name: Word
    sha256: Sha256


class BayStudy(_Model):
    """A sealed study: read again, its hash must be what it was (RFC 8785, SHA-256)."""

    format: Literal["levelhead-bay-study"] = "levelhead-bay-study"
    version: Literal[1] = 1
    bay: BayName
    performed: datetime.date
    studied_by: Word
    raw: RawReadings
    quantities: Annotated[tuple[Quantity, ...], Field(min_length=1)]
    software: Word
    sha256: MaybeSha256 = ""

    @property
    def name(self) -> str:
        """What results say that they stand on."""
        return f"bay study {self.performed.isoformat()}"

    def of(self, quantity: str) -> Quantity | None:
        """Return one quantity's share; None where it was not studied."""
        return next((each for each in self.quantities if each.quantity == quantity), None)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What whoever relies on the study should know, one line each."""
        return tuple(line for each in self.quantities for line in _remarks(each))


def quantities_of(readings: Sequence[StudyReading], where: str) -> tuple[Quantity, ...]:
    """Analyse a study's readings, quantity by quantity.

    Raises:
        CalibrationFileError: a cell is empty, filled twice, or there are too few.
    """
    found = []
    for name in QUANTITIES:
        own = [reading for reading in readings if reading.quantity == name]
        if own:
            found.append(_quantity(name, own, where))
    if not found:
        raise CalibrationFileError(where, "no reading of camber or total toe in it")
    return tuple(found)


def seal_study(study: BayStudy) -> BayStudy:
    """Return the study with its hash filled in."""
    return study.model_copy(update={"sha256": digest(study.model_dump(mode="json"), ("sha256",))})


def dump_study(study: BayStudy) -> str:
    """Return a sealed study as JSON text, keys in order, ending in a newline."""
    if not study.sha256:
        raise ValueError("the study is not sealed")
    return json.dumps(study.model_dump(mode="json"), indent=2, sort_keys=True) + "\n"


def load_study(text: str, where: str, bay: str | None = None) -> BayStudy:
    """Read a study; ``bay``: whose it has to be.

    Raises:
        CalibrationFileError: unreadable, of another format or version, of another bay; as
            ``RecordAltered``, its hash differs.
    """
    raw = parse(text, where)
    if raw.get("format") != FORMAT or raw.get("version") != 1:
        raise CalibrationFileError(where, f"not a {FORMAT} of version 1")
    body = unaltered(raw, where, ("sha256",))
    try:
        study = BayStudy.model_validate_json(body, strict=True)
    except ValidationError as error:
        raise CalibrationFileError(where, str(fault_of(error, raw, BayStudy))) from error
    if bay is not None and study.bay != bay:
        raise CalibrationFileError(where, f"is a study of bay {study.bay}, not of {bay}")
    return study


def _quantity(name: str, readings: Sequence[StudyReading], where: str) -> Quantity:
    technicians = tuple(dict.fromkeys(r.technician for r in readings))
    wheels = tuple(dict.fromkeys(r.wheel for r in readings))
    mountings = max(r.mounting for r in readings)
    settlings = max(r.settling for r in readings)
    cells = {}
    for r in readings:
        key = (r.wheel, r.technician, r.mounting, r.settling)
        if key in cells:
            reason = f"row {r.row}: {_cell(name, *key)} is there twice; keep one"
            raise CalibrationFileError(where, reason)
        cells[key] = r.value_deg
    order = product(wheels, technicians, range(1, mountings + 1), range(1, settlings + 1))
    keys = list(order)
    empty = [key for key in keys if key not in cells]
    if empty:
        more = f" ({len(empty)} such)" if len(empty) > 1 else ""
        reason = f"{_cell(name, *empty[0])} is missing{more}; fill every cell alike"
        raise CalibrationFileError(where, reason)
    shape = (len(wheels), len(technicians), mountings, settlings)
    values = np.array([cells[key] for key in keys]).reshape(shape)
    try:
        result = analyse(values)
    except BadBenchData as error:
        raise CalibrationFileError(where, f"{name}: {error.why}; {error.remedy}") from error
    return Quantity.model_validate(
        {
            "quantity": name,
            "wheels": wheels,
            "technicians": technicians,
            "mountings": mountings,
            "settlings": settlings,
            **_figures(result),
        }
    )


def _figures(result: Anova) -> dict[str, object]:
    return {
        "table": [{"cause": r.cause, "ss": r.ss, "dof": r.dof} for r in result.rows],
        "components": [_spread(each) for each in result.components],
        "p_interaction": result.p_interaction,
        "pooled": result.pooled,
    }


def _spread(each: Component) -> dict[str, object]:
    return {
        "cause": each.cause,
        "u_deg": each.u,
        "dof": each.dof,
        "variance": each.variance,
        "low_deg": float(np.sqrt(each.low)),
        "high_deg": float(np.sqrt(each.high)),
    }


def _cell(quantity: str, wheel: str, technician: str, mounting: int, settling: int) -> str:
    return f"{quantity} of {wheel} by {technician}, mounting {mounting}, settling {settling}"


def _remarks(each: Quantity) -> Iterable[str]:
    name = each.quantity
    if each.of(TECHNICIAN) is None:
        yield f"{name}: one technician; what another would read differently is not in it"
    if len(each.technicians) == 2:
        yield f"{name}: two technicians; one difference tells little of people: have a third"
    if each.of(SETTLING) is None:
        yield f"{name}: one settling a mounting; settling is in the mounting's spread"
    for spread in each.components:
        if spread.variance < 0.0 and not (each.pooled and spread.cause == INTERACTION):
            yield f"{name}: the estimate for {spread.cause} came out negative and counts as zero"
    if each.pooled:
        yield (
            f"{name}: technician by wheel is chance (p = {each.p_interaction:.2f}) and was pooled "
            "with mounting"
        )
    if each.dof is not None and each.dof < FEW_DOF:
        yield (
            f"{name}: only {each.dof:.1f} effective degrees of freedom; every U of this bay grows "
            "for it: add technicians or mountings"
        )
