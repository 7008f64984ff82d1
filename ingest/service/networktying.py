"""Which readings of wheels as they stood before tie what nothing else ties."""

from collections.abc import Collection, Iterable, Sequence

from ingest.service.bayhead import Wheel
from ingest.service.networkrow import Row, Stand


def tying(
    rows: Sequence[Row], there: Iterable[tuple[Wheel, Wheel]], pinned: Collection[Stand] = ()
) -> list[Row]:
    """Return the rows of former stands that tie axles, or a pin, which nothing else ties.

    ``there``: pairs of wheels between which a sightline holds. ``pinned``: stands that are taped to
    a pin. The newest of former stands are looked at first.
    """
    joined = _Joined()
    for stand in pinned:
        if not stand.former:
            joined.join(stand.wheel.axle, "pin")
    for here, other in there:
        joined.join(here.axle, other.axle)
    groups = _Joined()
    for row in rows:
        groups.join(*(s for s in row.stands if s.former))
    by_group: dict[object, list[Row]] = {}
    for row in rows:
        first = next(stand for stand in row.stands if stand.former)
        by_group.setdefault(groups.root(first), []).append(row)
    kept: list[Row] = []
    for group in reversed(by_group.values()):
        stands = {stand for row in group for stand in row.stands}
        ends = ["pin"] if stands & set(pinned) else []
        if joined.join(*ends, *(stand.wheel.axle for stand in stands if not stand.former)):
            kept = [*group, *kept]
    return kept


class _Joined:
    """Sets that are joined until some are one."""

    def __init__(self) -> None:
        self._above: dict[object, object] = {}

    def root(self, one: object) -> object:
        """Return what stands for all that is joined with this."""
        while (above := self._above.get(one, one)) != one:
            one = above
        return one

    def join(self, *all_of: object) -> bool:
        """Join; say whether they were not one before."""
        roots = {self.root(each) for each in all_of}
        if len(roots) < 2:
            return False
        first, *others = roots
        self._above |= dict.fromkeys(others, first)
        return True
