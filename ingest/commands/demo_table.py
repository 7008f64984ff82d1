"""The demo's results beside the simulator's truth."""

from dataclasses import dataclass

import numpy as np
from rich.table import Table
from scipy import stats

from calibration.measured import covariance
from calibration.reporting import on_screen
from ingest.commands.demo_rig import DemoRig
from ingest.commands.demo_story import Heard
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.topics import Topics
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt

LEVEL = 1e-6
"""Chance alone would fail the demo once in a million seeds on either side."""


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity. Without a result ``measured`` is None and ``text`` says why."""

    label: str
    truth_deg: float
    text: str
    quality: str
    error_over_u: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All rows, and how far they lie off the truth together: e' C^-1 e over all results."""

    rows: tuple[Row, ...]
    chi2: float
    dof: int

    @property
    def chance(self) -> float:
        """Probability of a chi-square at least as large."""
        return float(stats.chi2.sf(self.chi2, self.dof)) if self.dof else 0.0

    @property
    def agrees(self) -> bool:
        """Whether results and truth differ by no more and no less than stated."""
        return self.dof > 0 and LEVEL <= self.chance <= 1.0 - LEVEL

    def verdict(self) -> str:
        """Return one line."""
        word = "agree within" if self.agrees else "DISAGREE beyond"
        return (
            f"chi-square {self.chi2:.1f} at {self.dof} degrees of freedom, correlations kept "
            f"(probability {self.chance:.2f}): results and truth {word} the stated uncertainties"
        )


def compare(demo: DemoRig, topics: Topics, heard: Heard) -> Comparison:
    """Hold what was heard against the truth of wheels that settle as they do on average."""
    truth = vehicle_truth(demo.rig.vehicle, 0.0)
    wanted: list[tuple[str, str, float]] = []
    for axle in demo.rig.vehicle.axles:
        for side in Side:
            camber = truth.wheels[WheelAt(axle, side)].camber_rad
            topic = topics.axle(axle, side.value, "camber")
            wanted.append((f"axle {axle} {side.value} camber", topic, camber))
        topic = topics.axle(axle, "both", "total-toe")
        wanted.append((f"axle {axle} total toe", topic, truth.axles[axle].total_toe_rad))
    rows = tuple(_row(label, topic, true_rad, heard) for label, topic, true_rad in wanted)
    there = [(topic, true) for _, topic, true in wanted if topic in heard.measured]
    if not there:
        return Comparison(rows, 0.0, 0)
    # Judged is what a display was told; only the correlations come from inside.
    errors = np.array([_published_rad(heard, topic) - true for topic, true in there])
    spread = covariance([heard.measured[topic] for topic, _ in there])
    chi2 = float(errors @ np.linalg.solve(spread, errors))
    return Comparison(rows, chi2, len(there))


def _published_rad(heard: Heard, topic: str) -> float:
    value = heard.results[topic].value
    return float("nan") if value is None else value * DEG


def _row(label: str, topic: str, true_rad: float, heard: Heard) -> Row:
    result = heard.results.get(topic)
    if result is None or result.value is None or not result.U:
        return Row(
            label,
            true_rad / DEG,
            "no result: no free sightline" if "toe" in label else "no result",
            "",
            None,
        )
    ratio = (result.value - true_rad / DEG) / result.U
    return Row(label, true_rad / DEG, on_screen(result.text), result.q, ratio)


def table(compared: Comparison) -> Table:
    """Return the rows for the terminal."""
    shown = Table(title="settled wheels, as published over MQTT", title_style="bold")
    shown.add_column("quantity")
    shown.add_column("measured ± U", justify="right")
    shown.add_column("truth", justify="right")
    shown.add_column("error / U", justify="right")
    shown.add_column("quality")
    for row in compared.rows:
        ratio = "" if row.error_over_u is None else on_screen(f"{row.error_over_u:+.2f}")
        truth = on_screen(f"{row.truth_deg:+.3f}°")
        shown.add_row(row.label, row.text, truth, ratio, row.quality)
    return shown
