"""What the bay knows that a job asks for, and what a job has the bay do."""

from collections.abc import Mapping, Sequence

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.brief.standing import Standing
from ingest.job.course.events import LevelTaken, Taped
from ingest.job.course.readings import RunoutTaken
from ingest.job.vehicle.network import Sighting
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.vehicle_network import job_networks
from ingest.service.adjusting import Followed
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.headseen import HeadSeen
from ingest.service.network import NetworkSettings
from ingest.service.stood import Stood

TURNED_S = 1.5
"""While an adjuster is turned by hand, heads are averaged over no more: that an axle creeps ends a
rest only when it has been seen for two seconds and more."""


class LiveBayView:
    """Satisfies ``BayView`` over a bay."""

    def __init__(self, bay: Bay, announcer: Announcer) -> None:
        self._bay = bay
        self._announcer = announcer
        self._root = f"{announcer.topics.root}/"

    @property
    def wheels(self) -> frozenset[tuple[int, str]]:
        """Wheels that carry a head that is heard."""
        return frozenset(
            (head.wheel.axle, head.wheel.side.value)
            for head in self._bay.heads.values()
            if head.wheel is not None and head.online
        )

    @property
    def compensated(self) -> Mapping[tuple[int, str], RunoutTaken]:
        """The run-out of wheels whose head has it since it was mounted."""
        found = {}
        for head in self._bay.heads.values():
            taken = self._runout(head)
            if taken is not None:
                found[taken.axle, taken.side] = taken
        return found

    @property
    def standing(self) -> Mapping[str, Standing]:
        """Results that stand now; the network's word on total toe counts before an axle's own.

        What a network tells while some of its heads are yet to come to rest is not taken into a
        job: it is followed live.
        """
        stood: dict[str, Stood] = {
            **self._bay.work.results.stood,
            **self._bay.work.sweeps.stood,
            **self._bay.network.stood(self._bay.work.views.due),
        }
        return {t.removeprefix(self._root): each.standing() for t, each in stood.items()}

    @property
    def level(self) -> LevelTaken:
        """The level record that camber stands on."""
        return self._bay.ground.taken(self._announcer.today())

    def foretold(self, at: str, to: str) -> Measured | None:
        """Return the distance between two hubs, m, as the heads tell it; None where they cannot."""
        return self._bay.network.foretold(at, to)

    def follow(self, axle: int) -> Followed:
        """Return what an axle's results would be by the newest samples, by topic below the bay."""
        return self._bay.work.views.follow(axle)

    def sweep_lacks(self, axle: int) -> tuple[str, ...]:
        """Return what a sweep of an axle would be refused for if it were begun now."""
        return self._bay.sweeping.lacks(axle, self._bay.heads.values())

    @property
    def simulated(self) -> bool:
        """Whether the heads are simulated."""
        return self._bay.settings.simulated

    def set_out(self, vehicle: Vehicle, tapes: Mapping[str, Taped]) -> None:
        """Let heads fill the networks of a vehicle."""
        taped = {line: (each.measured_m, each.u_m) for line, each in tapes.items()}
        settings = self._bay.settings
        sighting = Sighting(settings.cross_port_m, settings.track_port_m)
        self._bay.network.load(NetworkSettings(job_networks(vehicle, taped, sighting)))

    def clear(self) -> None:
        """Clear what was said of axles before: it is of another vehicle."""
        self._bay.work.results.forget_results()
        self._bay.work.sweeps.forget_results()
        self._bay.network.forget_results()

    @property
    def seen(self) -> Sequence[HeadSeen]:
        """Every head that is on a wheel, as it is seen now."""
        return self._bay.work.views.seen(self._announcer.today())

    def knocked(self, axle: int, side: str) -> None:
        """Take note that the clamp of a head moved: its error is void."""
        head = self._bay.on_wheel(Wheel(axle, Side(side)))
        if head is not None:
            self._bay.void(head, "knocked")

    def newest_ns(self, axle: int) -> int:
        """Return the time of the newest value of an axle's heads; 0 where there is none."""
        return self._bay.work.views.newest_ns(axle)

    def being_turned(self, axles: tuple[int, ...]) -> None:
        """Take note that somebody may be turning at axles now: no reading reaches far back."""
        for axle in axles:
            self._bay.work.keep_newest(axle, TURNED_S)

    def turned(self, axles: tuple[int, ...]) -> None:
        """Take note that something is turned at axles: what was read of them holds no longer."""
        for axle in axles:
            for side in Side:
                self._bay.network.untaped(Wheel(axle, side), "adjusted")
            for side in Side:
                self._bay.network.turning(Wheel(axle, side), "adjusted")

    def anew(self, axles: tuple[int, ...], why: str) -> None:
        """Take note that work at axles is over: what was read meanwhile counts no longer."""
        for axle in axles:
            self._bay.work.anew(axle, why)

    def _runout(self, head: BayHead) -> RunoutTaken | None:
        bench = self._bay.work.bench(head)
        found, wheel = bench.runout, head.wheel
        if found is None or wheel is None or found.estimates is None:
            return None
        record = head.instrument.record
        angle = found.estimates.angle
        return RunoutTaken(
            wheel.axle,
            wheel.side.value,
            head.name,
            "" if record is None else record.record_id,
            abs(angle.value) / DEG,
            angle.u / DEG,
            f"{found.worth.n} readings over {found.worth.arc_rad / DEG:.0f}\u00b0",
        )
