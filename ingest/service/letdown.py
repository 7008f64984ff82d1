"""Did a clamp slip between the turn on a jack and the first rest on the ground?

A jack rolls a beam axle: what one wheel gains in camber the other loses, so that both together keep
what they had. A clamp that slips meanwhile carries an error that was not there during the turn, and
leans one of the two. Which one, this cannot tell; nor a slip about the vertical, which is in toe
alone; nor anything of wheels that are each hung by themselves.
"""

from collections.abc import Collection, Iterable, Iterator

from calibration.measured import Measured
from ingest.core.units import DEG
from ingest.service.headseen import HeadSeen, Upsetting

GIVES_RAD = 0.25 * DEG
"""So much may both cambers together change by what is no slip: the load that bends the beam, play
in bearings and kingpins, settling (ours to choose; as much as a single head may step at rest)."""
TIMES_U = 3.0
"""... and beyond it by so many standard uncertainties of that change."""


def slipped(
    heads: Iterable[HeadSeen], beams: Collection[int]
) -> Iterator[tuple[HeadSeen, Upsetting]]:
    """Yield both heads of each beam axle that came down otherwise than it was turned.

    Args: beams: numbers of the axles whose two wheels sit on one beam.
    """
    resting: dict[int, dict[str, tuple[HeadSeen, Measured]]] = {}
    for head in heads:
        if head.axle in beams and head.gained is not None and head.online and not head.turns:
            resting.setdefault(head.axle, {})[head.side] = head, head.gained
    for both in resting.values():
        if len(both) < 2:
            continue
        (one, gained), (other, gained_there) = both.values()
        if abs(gained.value + gained_there.value) <= GIVES_RAD:
            continue
        change = gained + gained_there
        if abs(change.value) > GIVES_RAD + TIMES_U * change.u:
            yield from ((head, _told(head, change.value)) for head in (one, other))


def _told(head: HeadSeen, change_rad: float) -> Upsetting:
    return Upsetting(
        head.axle,
        head.side,
        "run-out",
        f"axle {head.axle}: cambers together changed by {abs(change_rad) / DEG:.2f} deg between "
        "the turn and the ground; a clamp may have slipped",
        f"Seat both clamps of axle {head.axle}, turn both wheels again, let it down and settle it.",
        knocked=True,
    )
