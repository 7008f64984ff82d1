"""Publishes what a network of live sightlines tells, and takes back what stands on what is gone."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.measured import Measured
from calibration.reporting import coverage_factor, report_expanded
from calibration.units import Unit
from ingest.core.published import PublishedResults
from ingest.core.units import DEG
from ingest.geometry.network.correlated import Solved, Told
from ingest.geometry.network.quantities import Quantity
from ingest.geometry.network.standing import EXPANDED, WIDE_RAD, told_of
from ingest.geometry.network.stations import Network
from ingest.payload.axle import AxleResult
from ingest.service.adjusting import Unmade
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.bayspread import Occasion, SpreadSettings
from ingest.service.networkrow import Hold, Row
from ingest.service.resultnotes import ResultNotes
from ingest.service.results import fields_of
from ingest.service.stood import Stood, named
from ingest.service.takenoff import kept
from ingest.service.verdicts import with_verdict

DISAGREE = "network-disagrees"
UNSOLVED = "network-unsolved"
CHANGE = 0.02
"""A result is said again when it, or its standard uncertainty, has changed by so much of that."""


@dataclass(frozen=True, slots=True)
class _Standing:
    told: Told
    value: float
    u: float
    heads: tuple[BayHead, ...]
    off: tuple[bool, ...]
    """Of each reading whose head was taken off, whether its wheel was seen to stand until then."""
    fits: bool
    fields: dict[str, Any]
    confirmed_ns: int = 0

    def alike(self, other: "_Standing") -> bool:
        """Say whether another tells nothing that is new."""
        near = CHANGE * self.u
        same = (self.told.readings, self.heads, self.off, self.fits) == (
            other.told.readings,
            other.heads,
            other.off,
            other.fits,
        )
        return same and abs(self.value - other.value) < near and abs(self.u - other.u) < near


def _too_wide(each: _Standing) -> bool:
    if each.fields.get("rule") is not None:
        return each.fields.get("dec") == "undecided"
    return EXPANDED * each.told.u > WIDE_RAD


class NetworkDesk:
    """The results of one network. ``first``: it is the one that ``vehicle/`` speaks of."""

    def __init__(
        self,
        network: Network,
        announcer: Announcer,
        spread: SpreadSettings,
        published: PublishedResults | None,
        number: int,
    ) -> None:
        self._network = network
        self._announcer = announcer
        self._notes = ResultNotes(announcer, spread.told, published)
        self._number = number
        self._ids = itertools.count(1)
        self._standing: dict[str, _Standing] = {}
        self._topics_said: set[str] = set()

    @property
    def standing(self) -> dict[str, Measured]:
        """What stands now, by topic, in rad and m, unrounded, with all correlations."""
        found = {topic: each.told.measured for topic, each in self._standing.items()}
        return {topic: measured for topic, measured in found.items() if measured is not None}

    @property
    def stood(self) -> dict[str, Stood]:
        """The same, as it was published, and when it was read last."""
        found = {topic: (each, each.told.measured) for topic, each in self._standing.items()}
        return {
            topic: Stood(
                measured,
                each.fields,
                named(each.heads),
                each.confirmed_ns,
                each.told.result.quantity.angular,
            )
            for topic, (each, measured) in found.items()
            if measured is not None
        }

    def forget_results(self) -> None:
        """Clear all that was said."""
        for topic in self._topics_said:
            self._announcer.clear(topic)
        self._topics_said.clear()
        self._standing.clear()

    def say(self, solved: Solved, rows: Mapping[int, Row]) -> None:
        """Publish all that is determined and has parts; what is so by definition is no result."""
        said = set()
        for told in solved.told:
            topic = self._topic(told.result.quantity)
            if topic is None or told.result.measured is None or not told.result.measured.parts:
                continue
            self._say(topic, told, [rows[i] for i in told.readings if i in rows], solved)
            said.add(topic)
        for topic in [each for each in self._standing if each not in said]:
            self._over(topic, "undetermined")

    def widest(self) -> Told | None:
        """Return the direction of a wheel or axle that is known least well, if that is too little.

        Too little to decide, where a job has limits for it; else what is so for common ones.
        """
        found = [
            each.told
            for each in self._standing.values()
            if told_of(each.told.result.quantity) and _too_wide(each)
        ]
        return max(found, key=lambda told: told.u, default=None)

    def named(self, solved: Solved) -> Mapping[str, Measured]:
        """Return what is determined, by its topic below the bay."""
        root = f"{self._announcer.topics.root}/"
        told = ((self._topic(each.result.quantity), each) for each in solved.told)
        there = ((topic, each) for topic, each in told if each.result.measured is not None)
        return Unmade({topic.removeprefix(root): each for topic, each in there if topic})

    def withdraw(self, places: set[int], why: str) -> None:
        """Mark as stale what stands on readings that do not hold now."""
        for topic, each in list(self._standing.items()):
            if places.intersection(each.told.readings):
                self._over(topic, why)

    def _over(self, topic: str, why: str) -> None:
        gone = self._standing.pop(topic)
        self._notes.over(topic)
        fields = {**gone.fields, "q": "stale", "why": why, "dec": "none"}
        self._announcer.state(topic, AxleResult(**fields))

    def _say(self, topic: str, told: Told, rows: Sequence[Row], solved: Solved) -> None:
        found = told.result.measured
        assert found is not None
        heads = list({h.id: h for row in rows for h in row.heads}.values())
        off = tuple(row.stood for row in rows if row.hold is Hold.CLOSED)
        fresh = _Standing(told, found.value, told.u, tuple(heads), off, solved.fits, {})
        before = self._standing.get(topic)
        if before is not None and before.alike(fresh):
            self._standing[topic] = replace(before, confirmed_ns=self._announcer.wall())
            return
        fields = self._fields(told, rows, heads)
        if fields["q"] == "good" and not solved.fits:
            fields |= {"q": "uncertain", "why": DISAGREE}
        if off:
            fields = kept(fields, stood=all(off))
        fields = with_verdict(self._announcer.verdicts, topic, found, fields)
        wall_ns = self._announcer.wall()
        self._standing[topic] = replace(fresh, fields=fields, confirmed_ns=wall_ns)
        self._topics_said.add(topic)
        self._announcer.state(topic, AxleResult(**fields))
        if told.result.quantity.angular:
            self._notes.said(topic, fields, self._occasion(rows), heads)

    def _fields(self, told: Told, rows: Sequence[Row], heads: list[BayHead]) -> dict[str, Any]:
        measured, quantity = told.result.measured, told.result.quantity
        assert measured is not None
        scale, unit = (1.0 / DEG, Unit.DEGREE) if quantity.angular else (1e3, Unit.MILLIMETRE)
        k = coverage_factor(told.dof)
        shown = report_expanded(measured.value * scale, k * told.u * scale, unit, k=k)
        records = sorted({h.instrument.correction.stands_on for h in heads})
        t_ns = max((row.t_ns for row in rows), default=self._announcer.clock())
        name = quantity.name.replace("_", "-")
        fields = fields_of(self._announcer, name, shown, t_ns, records, heads)
        return {**fields, "id": f"nw-{self._number}-{next(self._ids)}"}

    def _occasion(self, rows: Sequence[Row]) -> Occasion:
        """Return the draw that a result has, in which any new mounting or standing is another."""
        sat = {(s.mounting, s.standing) for row in rows for s in row.ends}
        mountings = "+".join(str(mounting) for mounting, _ in sorted(sat))
        standings = "+".join(f"{mounting}.{standing}" for mounting, standing in sorted(sat))
        return Occasion(f"network {self._number}", mountings, standings)

    def _topic(self, quantity: Quantity) -> str | None:
        topics, name = self._announcer.topics, quantity.name.replace("_", "-")
        if not quantity.of:
            return topics.vehicle(name) if self._number == 1 else None
        if quantity.of.startswith("axle "):
            return topics.axle(int(quantity.of.removeprefix("axle ")), "both", name)
        wheel = self._network.station(quantity.of)
        assert wheel.axle is not None
        assert wheel.side is not None
        return topics.axle(wheel.axle, wheel.side.value, name)
