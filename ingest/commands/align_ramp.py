"""What stands on the ramp of a simulated bay: a job is opened with that vehicle and no other."""

from collections.abc import Callable
from dataclasses import replace

from ingest.commands.job_shop import Shop
from ingest.job.brief.brief import JobBrief
from ingest.job.course.acts import Refused
from ingest.job.course.events import Opened
from ingest.payload.job_cmd import JobOpen
from ingest.service.inputs import Offered

Named = tuple[tuple[str, str], ...]


class RampShop:
    """Satisfies ``JobShop``: a shop that knows what stands on the ramp."""

    def __init__(self, shop: Shop, vehicle: str) -> None:
        self._shop = shop
        self._vehicle = vehicle

    def take(self, ask: JobOpen) -> Opened:
        """Return what a job is opened with. Raises ``Refused``, too, for what stands elsewhere."""
        opened = self._shop.take(ask)
        if opened.vehicle_id != self._vehicle:
            text = f"no {ask.vehicle} stands on this ramp; open the job with {self._vehicle}"
            raise Refused("unknown-vehicle", text)
        return opened

    def brief(self, opened: Opened) -> JobBrief:
        """Return what an opened job is held against."""
        return self._shop.brief(opened)


def standing_first(now: Callable[[], Offered], vehicle: str, limits: str) -> Callable[[], Offered]:
    """Return offers with what stands on the ramp first: a display begins with the first."""

    def ordered() -> Offered:
        offered = now()
        return replace(
            offered,
            vehicles=_first(offered.vehicles, vehicle),
            limit_sets=_first(offered.limit_sets, limits),
        )

    return ordered


def _first(named: Named, name: str) -> Named:
    return tuple(sorted(named, key=lambda each: each[0] != name))
