"""What is said of a turn: while it goes on, when it is done, when it is refused."""

import math
from typing import Any

from calibration.measured import Measured
from calibration.reporting import Reported, coverage_factor, report, report_unknown
from calibration.units import Unit, degrees
from ingest.core.channels import Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG
from ingest.geometry.runout import Runout
from ingest.payload.runout import Runout as RunoutMessage
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead
from ingest.service.turns import WheelTurn

TTL_TURNING_S = 3.0
STEP_DEG = 1e-4


class RunoutDesk:
    """Publishes ``head/{head}/runout``."""

    def __init__(self, announcer: Announcer, cross_line_m: float) -> None:
        self._announcer = announcer
        self._cross_line_m = cross_line_m

    def turning(self, head: BayHead, turn_id: str, turn: WheelTurn) -> None:
        """Say how far the turn has come, and what it gives so far."""
        n, arc_rad = turn.arc()
        figures: dict[str, Any] = {"n": n, "arc": _deg(arc_rad, 1), "dp": 4}
        try:
            runout = turn.result(final=False)
        except MeasurementRefused as early:
            figures |= {"q": "uncertain", "why": early.code}
        else:
            figures |= self._figures(head, runout)
            figures |= {"q": "uncertain", "why": "turning", "further": turn.further_deg(runout)}
        self._say(head, turn_id, state="turning", ttl=TTL_TURNING_S, **figures)

    def done(self, head: BayHead, turn_id: str, runout: Runout) -> None:
        """Say what the turn gave."""
        quality, why = head.instrument.trust(self._announcer.today())
        if runout.hints:  # What is wrong at the wheel first: results carry the calibration's why.
            quality, why = "uncertain", runout.hints[0]
        figures = self._figures(head, runout) | {"q": quality, "why": why}
        self._say(head, turn_id, state="done", ttl=0.0, **figures)

    def refuse(
        self, head: BayHead, turn_id: str, turn: WheelTurn, refused: MeasurementRefused
    ) -> None:
        """Say why the turn gives nothing."""
        n, arc_rad = turn.arc()
        self._say(
            head,
            turn_id,
            state="refused",
            ttl=0.0,
            n=n,
            arc=_deg(arc_rad, 1),
            dp=4,
            figure=_short(refused.figure),
            limit=_short(refused.limit),
            q="bad",
            why=refused.code,
        )

    def void(self, head: BayHead) -> None:
        """Take back what was said of a clamp that is gone."""
        self._announcer.clear(self._announcer.topics.head_runout(head.name))

    def _figures(self, head: BayHead, runout: Runout) -> dict[str, Any]:
        assert head.wheel is not None
        side, estimates = head.wheel.side, runout.estimates
        open_ = _left_open(head, runout)
        measured: dict[str, tuple[float, Measured | None]] = {
            "camber": (runout.camber_rad(side), _with(runout.camber(side), open_["incl_y"])),
            "runout": (runout.clamp.angle_rad, estimates.angle if estimates else None),
            "phase": (
                runout.clamp.phase_rad,
                _with(estimates.phase if estimates else None, open_["rotation"]),
            ),
        }
        across = Channel.AZIMUTH_CROSS.value
        if runout.heading_rad is not None and not head.instrument.zero_open(across):
            measured["heading"] = (
                runout.heading_rad,
                _with(estimates.heading if estimates else None, open_[across]),
            )
        shown = {name: _reported(*pair) for name, pair in measured.items()}
        figures: dict[str, Any] = {
            "n": runout.worth.n,
            "arc": _deg(runout.worth.arc_rad, 1),
            "dilution": _short(runout.worth.dilution),
            "harm": runout.harmonics,
            "rms": _short(runout.rms_rad / DEG),
            "dp": shown["camber"].dp,
            "k": shown["camber"].k,
        }
        for name, each in shown.items():
            figures[name] = each.value
            figures[f"{name}_U"] = each.U
        return figures | self._eccentricity(runout)

    def _eccentricity(self, runout: Runout) -> dict[str, Any]:
        found, estimates = runout.eccentricity, runout.estimates
        if found is None:
            return {}
        metres = found.offset_m if found.offset_m is not None else found.swing_rad
        figures: dict[str, Any] = {"ecc_mm": round(metres * 1e3, 2)}
        if estimates is not None and estimates.swing is not None:
            swing = estimates.swing
            u_mm = swing.u * self._cross_line_m * 1e3
            figures["ecc_U"] = _short(coverage_factor(swing.dof) * u_mm)
        return figures

    def _say(self, head: BayHead, turn_id: str, *, ttl: float, **figures: Any) -> None:
        topic = self._announcer.topics.head_runout(head.name)
        wheel, record = head.wheel, head.instrument.record
        message = RunoutMessage(
            **self._announcer.moment(),
            **self._announcer.serial(topic),
            id=turn_id,
            axle=None if wheel is None else wheel.axle,
            side=None if wheel is None else wheel.side.value,
            cal=None if record is None else record.record_id,
            ttl=ttl,
            **figures,
        )
        if figures["state"] == "turning":
            self._announcer.live(topic, message, ttl)
        else:
            self._announcer.state(topic, message)


def _left_open(head: BayHead, runout: Runout) -> dict[str, Measured]:
    """Return what calibration leaves open in each channel, common to all readings of the turn."""
    assert head.wheel is not None
    read = {
        "incl_x": 0.0,
        "incl_y": runout.elevation_rad,
        "rotation": 0.0,
        "azimuth_cross": -head.wheel.side.sign * math.pi / 2.0,
    }
    has = {info.channel for info in head.hello.channels}
    return {
        channel.value: head.instrument.left_open(channel.value, read)
        if channel in has
        else Measured.exact(0.0)
        for channel in (Channel.INCL_Y, Channel.ROTATION, Channel.AZIMUTH_CROSS)
    }


def _with(measured: Measured | None, left_open: Measured) -> Measured | None:
    return None if measured is None else measured + left_open


def _reported(value_rad: float, measured: Measured | None) -> Reported:
    if measured is None:
        return report_unknown(value_rad / DEG, Unit.DEGREE, resolution=STEP_DEG)
    return report(degrees(measured), Unit.DEGREE)


def _deg(angle_rad: float, places: int) -> float:
    return round(angle_rad / DEG, places)


def _short(number: float) -> float | None:
    """Return a figure of merit to four significant digits; None where there is none."""
    return float(f"{number:.4g}") if math.isfinite(number) else None
