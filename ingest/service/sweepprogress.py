"""How a sweep goes, said of each head: what it needs, that it is done, or why it gives nothing."""

import math
from typing import Any

from calibration.measured import Measured
from calibration.reporting import report, t_factor
from calibration.units import Unit, degrees
from ingest.core.channels import Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG
from ingest.geometry.sweep.guided import SweepState
from ingest.geometry.sweep.lopsided import COVER, MOST_ROLL
from ingest.payload.sweep import Sweep as SweepMessage
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.sweepwords import doing

TTL_SWEEPING_S = 3.0
DP = 3

NOT_FITTED_YET = Measured.of(
    0.0, MOST_ROLL / t_factor(COVER, math.inf), source="roll of the axle, not fitted yet"
)
"""A roll takes off caster what it is itself, rad a rad."""


class SweepProgress:
    """Publishes the sweep of each head."""

    def __init__(self, announcer: Announcer) -> None:
        self._announcer = announcer

    def guide(
        self,
        head: BayHead,
        sweep_id: str,
        state: SweepState,
        target_rad: float,
        channel: Channel,
        *,
        rolls: bool,
    ) -> None:
        """Say where a sweep is and what it needs; ``channel`` tells the steering.

        ``rolls``: the axle's roll is fitted at the end, from both wheels; until then it is open.
        """
        trouble = state.troubles[0] if state.troubles else None
        found = None if state.found is None else state.found.estimates
        figures: dict[str, Any] = {"dp": DP, "q": "uncertain", "why": "sweeping"}
        if found is not None:
            caster = found.caster + NOT_FITTED_YET if rolls else found.caster
            shown = report(degrees(caster), Unit.DEGREE)
            figures |= {"caster": shown.value, "caster_U": shown.U, "k": shown.k, "dp": shown.dp}
        steer = None if state.steer_rad is None else round(state.steer_rad / DEG, 2)
        self._tell(
            head,
            sweep_id,
            state="sweeping",
            ttl=TTL_SWEEPING_S,
            steer=steer,
            left=round(state.left_rad / DEG, 2),
            right=round(state.right_rad / DEG, 2),
            target=round(target_rad / DEG, 2),
            need=state.needed[0].value if state.needed else "",
            trouble=trouble.value if trouble is not None else "",
            by=channel.value,
            do="" if trouble is None else doing(trouble, channel),
            n=state.kept,
            **figures,
        )

    def refuse(self, head: BayHead, sweep_id: str, n: int, refused: MeasurementRefused) -> None:
        """Say why a sweep gives nothing."""
        figures = {"figure": round(refused.figure, 4), "limit": round(refused.limit, 4)}
        bad = {"q": "bad", "why": refused.code, "dp": DP}
        self._tell(head, sweep_id, state="refused", ttl=0.0, n=n, **figures, **bad)

    def done(self, head: BayHead, sweep_id: str, n: int) -> None:
        """Say that a sweep gave results, from so many readings."""
        quality, why = head.instrument.trust(self._announcer.today())
        self._tell(head, sweep_id, state="done", ttl=0.0, n=n, q=quality, why=why, dp=DP)

    def forget(self, head: BayHead) -> None:
        """Take back what was said of a sweep by a head that is off."""
        self._announcer.clear(self._announcer.topics.head_sweep(head.name))

    def _tell(self, head: BayHead, sweep_id: str, *, ttl: float, **figures: Any) -> None:
        wheel, topic = head.wheel, self._announcer.topics.head_sweep(head.name)
        assert wheel is not None
        message = SweepMessage(
            **self._announcer.moment(),
            **self._announcer.serial(topic),
            id=sweep_id,
            axle=wheel.axle,
            side=wheel.side.value,
            ttl=ttl,
            **figures,
        )
        if figures["state"] == "sweeping":
            self._announcer.live(topic, message, ttl)
        else:
            self._announcer.state(topic, message)
