"""What stands of steering sweeps: their results published, and what takes those back.

What becomes of results::

    a head or its wheel moves          stale until it rests straight ahead and leans as it did
    it rests there, leaning otherwise  stale for good: the wheel, the axle or the vehicle was moved
    a head is taken off                kept (``takenoff``)
    a turn, a push, another sweep      stale for good
    the head starts anew, is swapped   stale for good
"""

import itertools
import math
from dataclasses import dataclass, field
from typing import Any

from calibration.measured import Measured
from calibration.reporting import report
from calibration.units import Unit, degrees
from ingest.chain.rest import RestReading
from ingest.core.channels import ROW, Channel
from ingest.core.frames import Side
from ingest.core.ids import HeadId
from ingest.payload.axle import AxleResult
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.ground import Ground
from ingest.service.results import fields_of
from ingest.service.stood import Stood, named
from ingest.service.sweepfit import SweptAxle
from ingest.service.sweptresults import results_of
from ingest.service.takenoff import kept
from ingest.service.verdicts import with_verdict
from ingest.service.wheelbench import STOOD_RAD, is_straight


@dataclass(slots=True)
class _Found:
    """The results of one axle: by topic, and by head how its wheel leaned and what told its
    steering straight ahead."""

    cambers: dict[HeadId, float]
    straight: dict[HeadId, tuple[Channel, float]]
    measured: dict[str, Measured]
    fields: dict[str, dict[str, Any]]
    moving: set[HeadId] = field(default_factory=set)
    heads: tuple[tuple[str, str], ...] = ()
    said_ns: int = 0


class SweepDesk:
    """What stands of the last sweep of each axle."""

    def __init__(self, announcer: Announcer, ground: Ground) -> None:
        self._announcer = announcer
        self._ground = ground
        self._axles: dict[int, _Found] = {}
        self._said: set[str] = set()
        self._ids = itertools.count(1)

    @property
    def standing(self) -> dict[str, Measured]:
        """What stands now, by topic, in rad and unrounded, with all correlations."""
        stand = [each for each in self._axles.values() if not each.moving]
        return {topic: measured for each in stand for topic, measured in each.measured.items()}

    @property
    def stood(self) -> dict[str, Stood]:
        """The same, as it was published, and when it was read last."""
        stand = [each for each in self._axles.values() if not each.moving]
        return {
            topic: Stood(each.measured[topic], fields, each.heads, each.said_ns)
            for each in stand
            for topic, fields in each.fields.items()
        }

    def forget_results(self) -> None:
        """Clear all that was said."""
        for topic in self._said:
            self._announcer.clear(topic)
        self._said.clear()
        self._axles.clear()

    def say(
        self,
        axle: int,
        heads: dict[Side, BayHead],
        straight: dict[HeadId, tuple[Channel, float]],
        swept: SweptAxle,
        t_ns: int,
    ) -> None:
        """Publish what a sweep gave; ``straight``: what told the steering, straight ahead, rad."""
        cambers = {heads[side].id: each.camber.value for side, each in swept.sides.items()}
        found = _Found(cambers, straight, {}, {})
        records = sorted({head.instrument.correction.stands_on for head in heads.values()})
        for where, quantity, measured, grounded in results_of(swept, self._ground):
            topic = self._announcer.topics.axle(axle, where, quantity)
            by = [h for side, h in heads.items() if where in ("both", side.value)]
            shown = report(degrees(measured), Unit.DEGREE)
            ground = self._ground if grounded else None
            told = fields_of(self._announcer, quantity, shown, t_ns, records, by, ground)
            fields = {**told, "id": f"sw-{next(self._ids)}"}
            found.fields[topic] = with_verdict(self._announcer.verdicts, topic, measured, fields)
            found.measured[topic] = measured
            self._said.add(topic)
            self._announcer.state(topic, AxleResult(**found.fields[topic]))
        found.heads, found.said_ns = named(list(heads.values())), self._announcer.wall()
        self._axles[axle] = found

    def moving(self, head: BayHead, why: str) -> None:
        """Take note that a head or its wheel moves, or that it is not heard."""
        for each in self._axles.values():
            if head.id in each.cambers and head.id not in each.moving:
                if not each.moving:
                    self._stale(each, why)
                each.moving.add(head.id)

    def settled(self, head: BayHead, camber_rad: float, rest: RestReading) -> None:
        """Take note of a wheel at rest: say its results again where it stands as it did."""
        for axle, each in list(self._axles.items()):
            if head.id not in each.moving:
                continue
            channel, straight_rad = each.straight[head.id]
            off_rad = float(rest.values[ROW[channel]]) - straight_rad
            if not (math.isfinite(off_rad) and is_straight(off_rad)):
                continue
            if abs(camber_rad - each.cambers[head.id]) > STOOD_RAD:
                self.over(axle, "moved")
                continue
            each.moving.discard(head.id)
            if not each.moving:
                self._again(each, each.fields)

    def off(self, head: BayHead, *, stood: bool) -> None:
        """Take note that a head is taken off."""
        for each in self._axles.values():
            if head.id not in each.cambers:
                continue
            each.moving.discard(head.id)
            del each.cambers[head.id]
            each.fields = {t: kept(fields, stood=stood) for t, fields in each.fields.items()}
            if not each.moving:
                self._again(each, each.fields)

    def over(self, axle: int, why: str) -> None:
        """Take the results of an axle back for good."""
        gone = self._axles.pop(axle, None)
        if gone is not None:
            self._stale(gone, why)

    def void(self, head: BayHead, why: str) -> None:
        """Take back what a head has read."""
        for axle, each in list(self._axles.items()):
            if head.id in each.cambers:
                self.over(axle, why)

    def _stale(self, found: _Found, why: str) -> None:
        stale = {"q": "stale", "why": why, "dec": "none"}
        self._again(found, {topic: fields | stale for topic, fields in found.fields.items()})

    def _again(self, found: _Found, told: dict[str, dict[str, Any]]) -> None:
        for topic in found.fields:
            self._announcer.state(topic, AxleResult(**told[topic]))
