"""What ``levelhead network`` finds: all of it, before it is put into words or figures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.geometry.network.adjusting import Adjusted, adjust, designed
from ingest.geometry.network.advising import Advice, Adviser, adviser
from ingest.geometry.network.correlated import STANDS_ON
from ingest.geometry.network.judging import Judgement, judge
from ingest.geometry.network.pieces import placed
from ingest.geometry.network.proving import Foretold, prove
from ingest.geometry.network.results import NOISE, Result, results
from ingest.geometry.network.standing import Share, shares
from ingest.geometry.network.stations import Network

ROUNDING = 1e-12
"""An uncertainty below, rad or m, is none."""


@dataclass(frozen=True, slots=True)
class Standing:
    """On what a result's uncertainty stands, and the reading that would lower it most."""

    result: Result
    u: float
    shares: tuple[Share, ...]
    set_ups: int
    """In how many states of the mountings the readings were taken that it stands on."""
    advice: Advice | None


@dataclass(frozen=True, slots=True)
class Answer:
    """All that is found of a network."""

    adjusted: Adjusted
    results: tuple[Result, ...]
    judgement: Judgement
    placed: frozenset[str]
    proof: tuple[Foretold, ...]
    settling: dict[str, Advice | None]
    sharpening: Advice | None
    standing: tuple["Standing", ...]

    @property
    def suspect(self) -> int | None:
        """Number of the reading to distrust, in the file."""
        place, rows = self.judgement.suspect, self.adjusted.rows
        return rows[place] if place is not None and place < len(rows) else None

    @property
    def suspect_zero(self) -> str | None:
        """The zero or seat of a head that is to be distrusted, where it is the one."""
        place, rows = self.judgement.suspect, self.adjusted.rows
        if place is None or place < len(rows):
            return None
        held = self.adjusted.held[place - len(rows)]
        return self.adjusted.unknowns.mounted[held].named()

    @property
    def alike(self) -> tuple[int, ...]:
        """Numbers of the readings that the same residuals would blame as well."""
        rows = self.adjusted.rows
        return tuple(rows[i] for i in self.judgement.alike if i < len(rows))

    @property
    def undetermined(self) -> tuple[str, ...]:
        """Names of the quantities that the readings do not determine."""
        lost = [s.id for s in self.adjusted.network.stations if s.id not in self.placed]
        quantities = [r.quantity.label for r in self.results if r.measured is None]
        return (*quantities, *(f"position_m {station}" for station in lost))


def answer(network: Network, *, design: bool) -> Answer:
    """Adjust a network, or look at its design. Raises ``MeasurementRefused``."""
    adjusted = designed(network) if design else adjust(network)
    found = results(adjusted)
    still = placed(adjusted)
    known = any(result.measured is not None and result.measured.parts for result in found)
    if not (known if found else still):
        reason = "the readings determine nothing; tie the stations by more sightlines or tapes"
        rank = adjusted.factored.rank
        needed = rank + adjusted.factored.null.shape[1]
        raise MeasurementRefused("rank", reason, figure=rank, limit=needed)
    advise = adviser(adjusted)
    return Answer(
        adjusted,
        found,
        judge(adjusted, found),
        still,
        prove(adjusted),
        advise.settling(found),
        advise.sharpening(found),
        tuple(_standing(adjusted, found, advise)),
    )


def _standing(adjusted: Adjusted, found: Sequence[Result], advise: Adviser) -> Iterator[Standing]:
    readings = [adjusted.network.readings[row] for row in adjusted.rows]
    names = [reading.named() for reading in readings]
    for result in found:
        if result.measured is None or result.measured.u < ROUNDING:
            continue
        own = next((p for p in result.measured.parts if p.source.name == NOISE), None)
        least = STANDS_ON * result.measured.u
        weights = own.components if own is not None else ()
        states = {
            reading.setup
            for reading, weight in zip(readings, weights, strict=False)
            if reading.is_angular and abs(weight) > least
        }
        told = shares(result.measured, names)
        yield Standing(result, result.measured.u, told, len(states), advise.sharpening([result]))
