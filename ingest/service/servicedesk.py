"""What the service says of itself: birth, farewell, description."""

from dataclasses import dataclass

from ingest.core.channels import CHANNELS, Channel
from ingest.payload.schemas import schema_names
from ingest.payload.svc import (
    MOST_OFFERED,
    Clock,
    DeadbandMeta,
    OfferMeta,
    QuantityMeta,
    ServiceMeta,
    ServiceStatus,
)
from ingest.service.announcer import Announcer
from ingest.service.bay import Bay
from ingest.service.inputs import Offered
from ingest.service.jobdesk import cut
from ingest.service.live import WIRE_STEP_DEG, LiveSettings

QUANTITIES = (
    ("incl_x", "deg", "elevation of the head's forward axis; up positive"),
    ("incl_y", "deg", "elevation of the head's left axis, along the stub shaft; up positive"),
    ("incl_z", "deg", "elevation of the head's up axis"),
    ("rotation", "deg", "turn of the wheel relative to the head; rolling forward positive"),
    ("azimuth_cross", "deg", "sightline across the vehicle, counter-clockwise from the head's x"),
    ("azimuth_track", "deg", "sightline along the vehicle, counter-clockwise from the head's x"),
    ("steer", "deg", "turn of the plate under the wheel; to the left positive"),
    ("temperature", "Cel", "inside the head"),
    ("camber", "deg", "to what the result names in against; top of the wheel outward positive"),
    ("caster", "deg", "to what the result names in against; top of the steering axis rearward"),
    ("sai", "deg", "to what the result names in against; top of the steering axis inward"),
    ("included-angle", "deg", "SAI and camber together, straight ahead"),
    ("turning-angle-left", "deg", "how far a wheel was steered to the left, from straight ahead"),
    ("turning-angle-right", "deg", "how far a wheel was steered to the right"),
    ("cross-caster", "deg", "caster of the left wheel less that of the right one"),
    ("cross-sai", "deg", "SAI of the left wheel less that of the right one"),
    ("cross-camber", "deg", "camber of the left wheel less that of the right one"),
    ("toe-out-left", "deg", "turned to the left, inner wheel at 20 deg: inner less outer wheel"),
    ("toe-out-right", "deg", "the same, turned to the right"),
    ("total-toe", "deg", "sum of both wheels; fronts towards each other positive"),
    ("toe", "deg", "to the centre line; front of the wheel towards it positive"),
    ("heading", "deg", "of an axle to the centre line; steering to the left positive"),
    ("scrub", "deg", "heading of an axle less that of the reference axle"),
    ("setback", "deg", "right wheel behind the left positive"),
    ("lateral-offset", "mm", "axle mid-point left of the centre line positive"),
    ("thrust", "deg", "heading of the reference axle"),
    ("drive-heading", "deg", "mean heading of the drive axles"),
    ("parallelism", "deg", "heading of the second steer axle less that of the first"),
)


@dataclass(frozen=True, slots=True)
class DeskSettings:
    """What the service is: its version and how this host keeps time (nobody asks the host)."""

    version: str = ""
    clock: Clock = "none"


class ServiceDesk:
    """Publishes ``svc/meta`` and ``svc/status``, when they change."""

    def __init__(self, settings: DeskSettings, live: LiveSettings, announcer: Announcer) -> None:
        self._settings = settings
        self._live = live
        self._announcer = announcer
        self._said: tuple[object, ...] = ()
        self._heads = 0
        self._offered = Offered()

    def offer(self, offered: Offered) -> None:
        """Take note of what a job can be opened with; the next refresh says it."""
        self._offered = offered

    def refresh(self, bay: Bay) -> None:
        """Say what changed of the description and of the number of heads online."""
        heads = tuple(sorted(head.name for head in bay.heads.values()))
        lags = [s.feed.chain.lag_ns for s in bay.slots.values() if s.feed.chain is not None]
        lag_ms = round(max(lags, default=0) * 1e-6, 1)
        said = (heads, lag_ms, self._offered)
        if said != self._said:
            self._said = said
            self._announcer.state(self._announcer.topics.meta, self._meta(bay, heads, lag_ms))
        online = sum(head.online for head in bay.heads.values())
        if online != self._heads:
            self._heads = online
            self._announcer.state(self._announcer.topics.status, self.status("online", ""))

    def status(self, state: str, why: str) -> ServiceStatus:
        """Return the present ``svc/status``."""
        topics = self._announcer.topics
        return ServiceStatus(
            **self._announcer.moment(),
            **self._announcer.serial(topics.status),
            state=state,
            sw=self._settings.version,
            heads=self._heads,
            clock=self._settings.clock,
            clock_u_ms=None,
            meta=topics.meta,
            q="good" if state == "online" else "stale",
            why=why,
        )

    def _meta(self, bay: Bay, heads: tuple[str, ...], lag_ms: float) -> ServiceMeta:
        deadbands = tuple(
            DeadbandMeta(
                channel=channel.value,
                change=WIRE_STEP_DEG / 2,
                min_s=self._live.min_s,
                max_s=self._live.max_s,
            )
            for channel in CHANNELS
            if channel is not Channel.TEMPERATURE
        )
        return ServiceMeta(
            **self._announcer.moment(),
            sw=self._settings.version,
            boot=self._announcer.boot,
            bay=self._announcer.topics.bay,
            heads=heads,
            quantities=tuple(QuantityMeta(qty=q, unit=u, sign=s) for q, u, s in QUANTITIES),
            deadbands=deadbands,
            rate_hz=round(1.0 / self._live.min_s, 3),
            lag_ms=lag_ms,
            spread=bay.settings.wheel.spread.told,
            level=bay.ground.told,
            vehicles=_offers(self._offered.vehicles),
            limit_sets=_offers(self._offered.limit_sets),
            schemas=schema_names(),
        )


def _offers(named: tuple[tuple[str, str], ...]) -> tuple[OfferMeta, ...]:
    return tuple(OfferMeta(id=each, name=cut(name, 120)) for each, name in named[:MOST_OFFERED])
