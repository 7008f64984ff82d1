"""What a bay measures with its heads; each reading and each break of them reaches all of it."""

from ingest.chain.chain import Chain
from ingest.core.blocks import SampleBlock
from ingest.core.published import PublishedResults
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.baysettings import BaySettings
from ingest.service.ground import ALERT as LEVEL_ALERT
from ingest.service.ground import Ground
from ingest.service.network import NetworkWork
from ingest.service.push import Push
from ingest.service.sweeping import Sweeping
from ingest.service.wheelwork import WheelWork


class Measuring:
    """Wheels, pushes, sweeps and the network between them, on the standing points of the bay."""

    def __init__(
        self,
        settings: BaySettings,
        announcer: Announcer,
        alerts: Alerts,
        published: PublishedResults | None,
    ) -> None:
        self._announcer = announcer
        self._alerts = alerts
        spread = settings.wheel.spread
        offset_m = settings.wheel.clamp_offset_m
        self.network = NetworkWork(settings.network, announcer, alerts, spread, published, offset_m)
        self.ground = Ground(settings.level)
        self.work = WheelWork(settings.wheel, announcer, published, self.network, self.ground)
        self.push = Push(self.work)
        self.sweeping = Sweeping(settings.sweep, self.work, self.network, announcer, alerts)

    def feed(
        self, head: BayHead, blocks: list[SampleBlock], chain: Chain, partner: BayHead | None
    ) -> None:
        """Take what the chain of a head gave. ``partner``: at the other end of the axle."""
        head.live.feed(blocks, head.instrument, chain.averaged)
        self.work.feed(head, blocks, chain, partner)
        self.sweeping.feed(head, blocks)

    def lost(self, head: BayHead) -> None:
        """Take note that a head is heard no longer."""
        self.work.lost(head)
        self.sweeping.broke(head, "link-lost")

    def void(self, head: BayHead, why: str) -> None:
        """Take note that what is known of a head's clamp holds no more."""
        self.work.void(head, why)
        self.sweeping.broke(head, why)

    def see_ground(self) -> None:
        """Say where nothing may stand on the survey of the bay today."""
        objection = self.ground.objection(self._announcer.today())
        if objection is None:
            self._alerts.clear(LEVEL_ALERT)
        else:
            self._alerts.set(LEVEL_ALERT, "warning", objection)
