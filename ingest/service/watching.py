"""What nobody meant to happen to heads while a job measures: lost, knocked, hidden, started anew.

A task says what its technician does, so that nothing of it alarms: a wheel turns while it is
compensated, is let down, rolls to settle and steers in a sweep; heads are in hands while they are
mounted. Where hands are off, or turn an adjuster, a head stays as it sits. Pure but for its state.
"""

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from ingest.core.channels import Channel
from ingest.core.units import DEG, NS
from ingest.job.course.tasks import Doing, Task
from ingest.service.headseen import HeadSeen, Upsetting
from ingest.service.letdown import slipped

STEP_RAD = 0.25 * DEG
"""A shaft that points otherwise by more, from one rest to the next, was knocked or its wheel moved:
more than twice what a bearing with play or a suspension that settles does (ours to choose)."""
PER_STEER = 0.15
"""A wheel that is steered leans by up to so much of it (caster and inclination of its kingpin)."""
HIDDEN_S = 1.0
"""Somebody who walks through a sightline hides it for less (ours to choose)."""

SAT = frozenset({Doing.FIND, Doing.ADJUST, Doing.TIGHTEN, Doing.LEAVE})
"""In these a head stays as it sits and sees what it saw."""
UNTOUCHED = frozenset({Doing.FIND, Doing.LEAVE})
"""In these nothing turns at all. While an adjuster is turned, its wheels turn about the vertical,
and a head that does so by itself cannot be told from that: only how its shaft leans can. Heads on
other axles still look across their own as they did."""
TAKES_ALONG = frozenset({"steering_wheel", "steer_parallelism"})
"""A linkage that is turned at may take another axle along."""
HEARD = SAT | {Doing.TURN, Doing.LOWER, Doing.SETTLE, Doing.SWEEP}
"""In these every mounted head should be heard, and keep what is known of its clamp."""


@dataclass(slots=True)
class _Known:
    """What is known of one mounting of a head within a task."""

    online: bool
    compensated: bool
    lean_rad: float | None = None
    sights_rad: Mapping[str, float] = field(default_factory=dict)
    told: bool = False
    """Its clamp is known to be off, or was turned anew: how it sits is not watched any more."""
    hidden_ns: dict[str, int] = field(default_factory=dict)

    def anew(self) -> "_Known":
        """Return what the next task begins with, where heads stay as they sit."""
        return _Known(self.online, self.compensated, self.lean_rad, self.sights_rad)


class Watching:
    """Compares what is seen of heads with what was; says each thing once."""

    def __init__(self) -> None:
        self._task: Task | None = None
        self._turning = False
        self._known: dict[int, _Known] = {}
        self._seen: dict[int, set[str]] = {}
        self._set_up = 0
        self._hidden: set[tuple[tuple[int, str], tuple[int, str]]] = set()

    @property
    def hidden(self) -> frozenset[tuple[int, str]]:
        """Wheels whose head misses a sightline that was said to be lost."""
        return frozenset(wheel for line in self._hidden for wheel in line)

    def look(
        self,
        task: Task | None,
        heads: Iterable[HeadSeen],
        *,
        turning: bool = True,
        beams: Collection[int] = (),
    ) -> list[Upsetting]:
        """Return what happened since the last look that the task does not bring with it.

        ``turning``: where the task adjusts, whether its adjuster is being turned already.
        ``beams``: axles whose two wheels sit on one beam.
        """
        if task is None:
            self._task = None
            return []
        if self._task is None or task.id != self._task.id:
            stays = self._task is not None and {task.doing, self._task.doing} <= SAT
            kept = self._known.items() if stays else ()
            self._task = task
            self._known = {mounting: known.anew() for mounting, known in kept if not known.told}
        self._turning = turning and task.doing is Doing.ADJUST
        if task.set_up != self._set_up:
            self._set_up, self._seen = task.set_up, {}
            self._hidden.clear()
        if task.doing not in HEARD:
            return []
        heads = list(heads)
        found = [each for head in heads for each in self._one(task, head)]
        if self._untouched(task):
            off = {each.axle for each in found if each.knocked}
            found += self._let_down(heads, set(beams) - off)
        return found

    def _one(self, task: Task, head: HeadSeen) -> Iterator[Upsetting]:
        known = self._known.get(head.mounting)
        if known is None:
            known = self._known[head.mounting] = _Known(head.online, head.compensated)
        yield from self._heard(task, head, known)
        if task.doing not in SAT or not head.online:
            return
        if head.turns:
            known.told, known.lean_rad = True, None
            known.hidden_ns.clear()
            return
        yield from self._sat(task, head, known)
        yield from self._sees(head, known)

    def _heard(self, task: Task, head: HeadSeen, known: _Known) -> Iterator[Upsetting]:
        was, known.online = known.online, head.online
        if was and not head.online:
            yield Upsetting(
                head.axle,
                head.side,
                "head",
                f"{head.where} is not heard any more: {head.why}",
                f"Look at the battery and the link of {head.where}; what it reads is missing "
                "until it is back.",
            )
        had, known.compensated = known.compensated, head.compensated
        if had and not head.compensated and not head.turns and task.doing is not Doing.TURN:
            known.told = True
            yield Upsetting(
                head.axle,
                head.side,
                "run-out",
                f"{head.where} started anew, or is another head: its clamp's error is void",
                f"Turn the wheel of {head.where} again, let it down and settle it.",
            )

    def _sat(self, task: Task, head: HeadSeen, known: _Known) -> Iterator[Upsetting]:
        if head.lean_rad is None or known.told:
            return
        before, known.lean_rad = known.lean_rad, head.lean_rad
        sights, known.sights_rad = known.sights_rad, head.sights_rad
        if before is None:
            return
        both = sights.keys() & head.sights_rad.keys()
        steps = {c: abs(math.remainder(head.sights_rad[c] - sights[c], math.tau)) for c in both}
        steered_rad = max(steps.values(), default=0.0)
        step_rad = abs(head.lean_rad - before)
        if self._untouched(task):
            step_rad, steered_rad = max(step_rad, steered_rad), 0.0
        elif head.axle not in task.axles and task.quantity not in TAKES_ALONG:
            step_rad, steered_rad = max(step_rad, steps.get(Channel.AZIMUTH_CROSS, 0.0)), 0.0
        if step_rad <= STEP_RAD + PER_STEER * steered_rad:
            return
        known.told, known.compensated = True, False
        yield Upsetting(
            head.axle,
            head.side,
            "run-out",
            f"{head.where} sits otherwise by {step_rad / DEG:.2f} deg: it was knocked, or its "
            "wheel moved",
            f"Look at the clamp of {head.where}, seat it, turn its wheel again, let it down and "
            "settle it.",
            knocked=True,
        )

    def _untouched(self, task: Task) -> bool:
        return task.doing in UNTOUCHED or (task.doing is Doing.ADJUST and not self._turning)

    def _let_down(self, heads: Iterable[HeadSeen], beams: Collection[int]) -> Iterator[Upsetting]:
        for head, upsetting in slipped(heads, beams):
            known = self._known[head.mounting]
            known.told, known.compensated = True, False
            yield upsetting

    def _sees(self, head: HeadSeen, known: _Known) -> Iterator[Upsetting]:
        seen = self._seen.setdefault(head.mounting, set())
        if head.lean_rad is not None:
            seen |= head.sights_rad.keys() - head.hidden
        for channel in sorted(seen & head.partners.keys()):
            partner = head.partners[channel]
            line = (head.axle, head.side), partner
            if channel not in head.hidden:
                known.hidden_ns.pop(channel, None)
                self._hidden.discard(line)
                continue
            since_ns = known.hidden_ns.setdefault(channel, head.now_ns)
            if head.now_ns - since_ns < HIDDEN_S * NS or line in self._hidden:
                continue
            self._hidden.add(line)
            if line[::-1] in self._hidden:
                continue  # its other end said so
            yield Upsetting(
                head.axle,
                head.side,
                "sightline",
                f"{head.where} does not see the head on axle {partner[0]} {partner[1]} any more",
                f"Clear the sightline from {head.where} to axle {partner[0]} {partner[1]}.",
            )
