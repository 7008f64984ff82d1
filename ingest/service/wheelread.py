"""A wheel at rest as its head reads it: camber and heading, the clamp's error taken out."""

from ingest.chain.rest import RestReading
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sightline import Sightline
from ingest.service.bayspread import Occasion
from ingest.service.results import Settled, settle
from ingest.service.wheelbench import Bench
from ingest.service.wheelsettings import WheelSettings


class WheelReader:
    """Reads benches; changes nothing on them."""

    def __init__(self, settings: WheelSettings, sightline: Sightline) -> None:
        self._settings = settings
        self._sightline = sightline

    def read(self, bench: Bench, rest: RestReading) -> Settled | None:
        """Return the settled wheel; None where it cannot be told."""
        wheel = bench.head.wheel
        if bench.runout is None or wheel is None:
            return None
        settling = f"{bench.mounting}.{bench.settling}"
        occasion = Occasion(f"axle {wheel.axle} {wheel.side.value}", str(bench.mounting), settling)
        spread = self._settings.spread
        try:
            return settle(bench.head, rest, bench.runout, spread, self._sightline, occasion)
        except MeasurementRefused:
            return None

    def across(self, bench: Bench, other: Bench) -> tuple[Settled, Settled] | None:
        """Return both wheels of an axle at rest, read over the time they both did.

        While one wheel turned its port moved, and with it the line that both look along.
        """
        if bench.rest is None or other.rest is None or other.settled is None or other.steered:
            return None
        since_ns = max(bench.rest.t_ns, other.rest.t_ns)
        here, there = (self._since(each, since_ns) for each in (bench, other))
        return None if here is None or there is None else (here, there)

    def _since(self, bench: Bench, since_ns: int) -> Settled | None:
        rest = bench.rest_since(since_ns, self._settings.turn.least_rest_s)
        return None if rest is None else self.read(bench, rest)
