"""How wheels are measured."""

from dataclasses import dataclass, field

from ingest.geometry.sightline import OFFSET_RMS_M
from ingest.service.bayspread import SpreadSettings
from ingest.service.turns import TurnSettings


@dataclass(frozen=True, slots=True)
class WheelSettings:
    """Times in s, lengths in m; all above 0."""

    turn: TurnSettings = field(default_factory=TurnSettings)
    spread: SpreadSettings = field(default_factory=SpreadSettings)
    cross_line_m: float = 2.0
    """Length of the sightline across the vehicle, port to port, roughly: it turns the swing of
    an eccentric clamp into millimetres."""
    clamp_offset_m: float = OFFSET_RMS_M
    """How far off centre clamps sit, root mean square to any side: what a short roll leans on."""
    progress_s: float = 0.5
    """How often a turn's figures so far are published."""
    result_s: float = 1.0
    """How often the results of a wheel at rest are published while they still improve."""

    def __post_init__(self) -> None:
        for name in ("cross_line_m", "clamp_offset_m", "progress_s", "result_s"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} must be above 0")
