"""The demo's results beside the simulator's truth."""

import math
from dataclasses import dataclass

import numpy as np
from rich.table import Table
from scipy import special

from calibration.measured import covariance
from calibration.reporting import on_screen
from ingest.commands.demo_network import network_truths
from ingest.commands.demo_rig import DemoRig
from ingest.commands.demo_story import Heard
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.topics import Topics
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import WheelAt

LEVEL = 1e-6
"""Chance alone would fail the demo once in a million seeds on either side."""

SCALE = {"deg": 1.0 / DEG, "mm": 1e3}
"""From rad, or m, to what is published."""

NOTHING_NEW = 0.01
"""Of the mean variance: combinations of results that scatter less than a tenth of their U follow
from each other, or are finer than what rounding leaves."""

BY_DEFINITION = 1e-12


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity. Without a result ``measured`` is None and ``text`` says why."""

    label: str
    truth: str
    text: str
    quality: str
    error_over_u: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All rows, and how far they lie off the truth together: e' C^+ e over all results.

    ``dof`` is the rank of C: much follows from each other, an axle's heading from its toes.
    """

    rows: tuple[Row, ...]
    chi2: float
    dof: int

    @property
    def chance(self) -> float:
        """Probability of a chi-square at least as large."""
        return float(special.chdtrc(self.dof, self.chi2)) if self.dof else 0.0

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
    wanted = _truths(demo, topics)
    rows = tuple(_row(topics, topic, true, heard) for topic, true in wanted.items())
    there = [topic for topic in wanted if topic in heard.measured]
    if not there:
        return Comparison(rows, 0.0, 0)
    # Judged is what a display was told; only the correlations come from inside.
    u = np.array([heard.measured[topic].u for topic in there])
    errors = np.array([_published(heard, topic) - wanted[topic] for topic in there]) / u
    spread = covariance([heard.measured[topic] for topic in there]) / np.outer(u, u)
    values, vectors = np.linalg.eigh(spread)
    told = values > NOTHING_NEW
    z = (vectors.T @ errors)[told] / np.sqrt(values[told])
    return Comparison(rows, float(z @ z), int(told.sum()))


def _truths(demo: DemoRig, topics: Topics) -> dict[str, float]:
    """Return what is true by topic, rad and m, wheel by wheel, then what the network tells."""
    truth = vehicle_truth(demo.rig.vehicle, 0.0)
    known = {
        topics.axle(axle, side.value, "camber"): truth.wheels[WheelAt(axle, side)].camber_rad
        for axle in demo.rig.vehicle.axles
        for side in Side
    }
    return known | network_truths(demo, topics)


def _published(heard: Heard, topic: str) -> float:
    """Return what a display was told, rad or m."""
    result = heard.results[topic]
    return math.nan if result.value is None else result.value / SCALE[result.unit]


def _row(topics: Topics, topic: str, true: float, heard: Heard) -> Row:
    result = heard.results.get(topic)
    place = topic.removeprefix(f"{topics.root}/").split("/")
    label = " ".join(word for word in place if word != "both").replace("-", " ")
    unit = "mm" if place[-1] == "lateral-offset" else "deg"
    truth = f"{true * SCALE[unit]:+.3f}°" if unit == "deg" else f"{true * SCALE[unit]:+.1f} mm"
    if result is None or result.value is None or not result.U:
        why = "so by definition" if abs(true) < BY_DEFINITION else "no result"
        return Row(label, truth, why, "", None)
    ratio = (result.value - true * SCALE[unit]) / result.U
    return Row(label, truth, on_screen(result.text), result.q, ratio)


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
        shown.add_row(row.label, row.text, on_screen(row.truth), ratio, row.quality)
    return shown
