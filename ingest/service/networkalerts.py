"""What is alerted of one live network: that it disagrees, what it lacks, what it knows too little.

Each is said when it changes and taken back when it is over.
"""

import math
from collections.abc import Collection

from ingest.core.errors import MeasurementRefused
from ingest.geometry.network.correlated import Solved, Told
from ingest.service.alerts import Alerts
from ingest.service.networkwords import disagreement, doubt, lacking, wide

WIDER = 0.1
"""What a result stands on is told again when its uncertainty has changed by about so much of it."""


class NetworkAlerts:
    """The alerts of the network of that number, as the set-up counts them."""

    def __init__(self, alerts: Alerts, number: int) -> None:
        self._alerts = alerts
        self._code = "network" if number == 1 else f"network-{number}"
        self._lacked: tuple[str, ...] = ()
        self._wide: tuple[str, int] | None = None
        """What was said to be known least well, and how well, in steps of ``WIDER``."""

    def clear(self) -> None:
        """Take everything back: the network is gone."""
        for code in (self._code, f"{self._code}-lacks", f"{self._code}-wide"):
            self._alerts.clear(code)

    def unsolved(self, error: MeasurementRefused, *, partial: bool) -> None:
        """Say why it cannot be solved; with part of its sightlines alone that is no wonder."""
        self._alerts.set(self._code, "note" if partial else "warning", str(error)[:200])

    def say(self, solved: Solved, unread: Collection[int], widest: Told | None) -> None:
        """Say what is to be said of a network as it was solved.

        ``unread``: the places of its own sightlines that no head has read; ``widest``: once there
        are none, the result that is known least well, if that is too little.
        """
        self._judge(solved)
        self._lacks(solved, tuple(unread))
        self._too_wide(solved, widest)

    def _judge(self, solved: Solved) -> None:
        noted = doubt(solved)
        if not solved.fits:
            self._alerts.set(self._code, "warning", disagreement(solved))
        elif noted is not None:
            self._alerts.set(self._code, "note", noted)
        else:
            self._alerts.clear(self._code)

    def _lacks(self, solved: Solved, unread: tuple[int, ...]) -> None:
        unknown = tuple(t.result.quantity.label for t in solved.told if t.result.measured is None)
        lacked = (*unknown, *map(str, unread))
        if lacked == self._lacked:
            return
        self._lacked = lacked
        code = f"{self._code}-lacks"
        if unknown:
            self._alerts.set(code, "note", lacking(solved, unknown, unread))
        else:
            self._alerts.clear(code)

    def _too_wide(self, solved: Solved, told: Told | None) -> None:
        """Say on what the widest result stands."""
        code = f"{self._code}-wide"
        if told is None:
            self._wide = None
            self._alerts.clear(code)
            return
        about = told.result.quantity.label, round(math.log(told.u) / WIDER)
        if about != self._wide:
            self._wide = about
            self._alerts.set(code, "note", wide(solved, told))
