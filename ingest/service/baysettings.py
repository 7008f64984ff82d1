"""How a bay measures."""

from dataclasses import dataclass, field

from ingest.chain.chain import ChainSettings
from ingest.payload.level_file import LevelFile
from ingest.service.live import LiveSettings
from ingest.service.network import NetworkSettings
from ingest.service.sweepfit import SweepSettings
from ingest.service.wheelsettings import WheelSettings


@dataclass(frozen=True, slots=True)
class BaySettings:
    """How a bay measures."""

    chain: ChainSettings = field(default_factory=ChainSettings)
    live: LiveSettings = field(default_factory=LiveSettings)
    wheel: WheelSettings = field(default_factory=WheelSettings)
    network: NetworkSettings = field(default_factory=NetworkSettings)
    sweep: SweepSettings = field(default_factory=SweepSettings)
    level: LevelFile | None = None
    """The survey of the bay's standing points."""
    simulated: bool = False
    """The heads are simulated, so that records of simulated heads may correct them."""
    cross_port_m: tuple[float, float] = (0.0, 0.0)
    track_port_m: tuple[float, float] = (0.0, 0.0)
    """Where sightlines start, forward and outward of the hub, where no record says so."""
