"""One push of the vehicle turns every wheel at once, and compensates all mounted heads together.

Each head is fitted by itself, as a rolled turn. What fails on one wheel is that head's affair;
only a head that was knocked shows in another's readings too: its partner across looks at it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG
from ingest.geometry.runout import Runout
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.turns import WheelTurn, judged
from ingest.service.wheelwork import WheelWork

KNOCKED = frozenset({"slip", "drift", "outliers", "scatter", "not-closed"})
"""Codes of turns during which something moved that should not have."""

CAUTION = (
    "Nobody in front of or behind the wheels; chocks off for the push only; steer straight, "
    "push slowly and evenly"
)
"""What is said each time; the vehicle maker and local codes say the rest."""

Found = Runout | MeasurementRefused


@dataclass(frozen=True, slots=True)
class _Part:
    """One head's part in a push."""

    head: BayHead
    wheel: Wheel
    turn: WheelTurn


class Push:
    """Collects a push on all mounted heads; at its end says for each what came of it."""

    def __init__(self, work: WheelWork) -> None:
        self._work = work
        self._parts: tuple[_Part, ...] | None = None
        self._left_out: tuple[str, ...] = ()

    def begin(self, heads: Iterable[BayHead]) -> Done:
        """Begin to collect, on every head that is online and on a wheel."""
        if self._parts is not None:
            return Done(False, "already-turning", "a push is being collected; end it first")
        mounted = sorted((head for head in heads if head.wheel is not None), key=_place)
        ready = [head for head in mounted if head.online]
        if not ready:
            return Done(False, "not-mounted", "no head that is online is on a wheel")
        turning = [head.name for head in ready if self._work.collecting(head) is not None]
        if turning:
            text = f"a turn of {', '.join(turning)} is being collected; end it first"
            return Done(False, "already-turning", text)
        self._parts = tuple(self._part(head) for head in ready)
        self._left_out = tuple(head.name for head in mounted if not head.online)
        names = ", ".join(head.name for head in ready)
        absent = f"; not online: {', '.join(self._left_out)}" if self._left_out else ""
        return Done(True, "partly" if absent else "ok", f"{names}{absent}. {CAUTION}")

    def _part(self, head: BayHead) -> _Part:
        self._work.begin(head, rolled=True)
        turn, wheel = self._work.collecting(head), head.wheel
        assert turn is not None
        assert wheel is not None
        return _Part(head, wheel, turn)

    def end(self) -> Done:
        """End the push: fit each head's part, put every result in force that is one."""
        if self._parts is None:
            return Done(False, "not-turning", "no push is being collected")
        parts, self._parts = self._parts, None
        stayed = {p.wheel: p for p in parts if self._work.collecting(p.head) is p.turn}
        found = _without_partners_knocks(stayed, {w: judged(p.turn) for w, p in stayed.items()})
        said, used = [], 0
        for part in parts:
            outcome = found.get(part.wheel)
            if outcome is None:
                why = self._work.broken(part.head) or "taken off"
                said.append(f"{part.head.name} refused ({why})")
                continue
            used += self._work.conclude(part.head, outcome).ok
            said.append(f"{part.head.name} {_in_words(outcome)}")
        said += [f"{name} not online" for name in self._left_out]
        code = "ok" if used == len(said) else "partly" if used else "refused"
        return Done(used > 0, code, "run-out: " + "; ".join(said))


def _place(head: BayHead) -> tuple[int, float]:
    """Return what puts heads in the order of their wheels: front to rear, left before right."""
    assert head.wheel is not None
    return head.wheel.axle, -head.wheel.side.sign


def _in_words(found: Found) -> str:
    if isinstance(found, MeasurementRefused):
        return f"refused ({found.code})"
    return f"{found.clamp.angle_rad / DEG:.2f} deg"


def _without_partners_knocks(
    parts: Mapping[Wheel, _Part], found: Mapping[Wheel, Found]
) -> dict[Wheel, Found]:
    """Return the outcomes, those of heads that only saw their partner being knocked mended.

    The sightline of a head ends at its partner's port. Where both are refused for a motion, and
    by the elevation of its shaft alone one stood firm and the other did not, the firm one is
    fitted without its sightline. Where the elevations tell nothing, both stay refused.
    """
    mended = dict(found)
    for wheel in parts:
        across = Wheel(wheel.axle, wheel.side.other)
        if not (_knocked(found[wheel]) and across in parts and _knocked(found[across])):
            continue
        own, other = (judged(parts[each].turn, seen=False) for each in (wheel, across))
        if not _knocked(own) and _knocked(other):
            mended[wheel] = own
    return mended


def _knocked(found: Found) -> bool:
    return isinstance(found, MeasurementRefused) and found.code in KNOCKED
