"""A simulated technician, with simulated heads on a simulated bench, at the pace of the screen."""

import asyncio
import math
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from calibration.bench.procedure import Target
from calibration.bench.steps import Step
from ingest.commands.bench_folder import Folder
from ingest.commands.bench_heads import Sample, Seen
from ingest.commands.writing import write_whole
from ingest.core.channels import ROW, Channel
from ingest.simulator.bench.bench import ROOM_DEGC, SimulatedBench
from ingest.simulator.bench.things import (
    BAR_MM,
    NOMINAL,
    SINE_BAR_MM,
    U_BAR_MM,
    U_BLOCK_MM,
    U_INDEX_DEG,
    U_SEAT_DEG,
    U_SINE_BAR_MM,
)
from ingest.simulator.head import Port

RATE_HZ = 50.0
PIECE_S = 0.1
HURRIED_S = 1.0
"""While something is read, time goes by in pieces of this length, as fast as it can."""
WARM_S = 4 * 3600.0
SOAKED_S = 3600.0
"""Soaks lie hours apart, an hour for each degree, and so none has the wander of another."""
BETWEEN_S = 60.0
"""A head is long warm when the first row is read; from row to row a minute passes."""
LETTERS = ("A", "B")
U_THERMOMETER = 0.05
"""Expanded uncertainty of the invented thermometer of the place, degC."""
BEDS_DEG = 0.002
"""Expanded uncertainty of a sine bar's face against its rollers."""


class SimulatedHeads:
    """Heads without a port: samples as their converters make them, in a time of their own.

    What a row reads depends on the seed, the step and the row alone, so that work that was
    broken off comes out the same.
    """

    trouble = ""

    def __init__(self, seed: int, letters: Sequence[str], *, three_axis: bool = False) -> None:
        self._now_s = 0.0
        self._letters = self._read = tuple(letters)
        self._row: tuple[str, int] = ("", 0)
        self._tries = 0
        self._bench = SimulatedBench(seed, lambda: self._now_s, three_axis=three_axis)

    async def open(self) -> Mapping[str, Seen]:
        """Return who is there."""
        return {
            letter: Seen(
                self._bench.head_id(letter),
                frozenset(c.value for c in self._bench.heads[letter].design.channels),
            )
            for letter in self._letters
        }

    async def place(self, step: Step, target: Target | None, taken: int) -> None:
        """Do what the target asks."""
        self._read = step.heads
        row = (step.name, taken)
        self._tries = self._tries + 1 if row == self._row else 0
        self._row = row
        self._bench.take_up(*row, self._tries)
        self._now_s = (0.0 if step.name.startswith("warm") else WARM_S) + BETWEEN_S * taken
        air_degc = _oven_degc(step)
        self._bench.soak(ROOM_DEGC if air_degc is None else air_degc, math.inf)
        if air_degc is not None:
            self._now_s += SOAKED_S * (100.0 + air_degc)
        if target is None:
            return
        kind = Path(step.path).stem
        self._bench.place(kind, dict(target.columns), step.folder or "A")

    async def samples(self, *, hurry: bool) -> Sequence[Sample]:
        """Return the samples of a piece of time; in a hurry, only those of what is read."""
        if not hurry:
            await asyncio.sleep(PIECE_S)
        else:
            await asyncio.sleep(0)
        piece = HURRIED_S if hurry else PIECE_S
        times = self._now_s + np.arange(round(piece * RATE_HZ)) / RATE_HZ
        self._now_s += piece
        letters = self._read if hurry else self._letters
        return [sample for letter in letters for sample in self._of(letter, times)]

    async def close(self) -> None:
        """There is nothing to let go."""

    def _of(self, letter: str, times: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[Sample]:
        head = self._bench.heads[letter]
        raw = self._bench.samples(letter, times)
        rows = {c: raw[ROW[c]] for c in head.design.channels}
        known = {c: row for c, row in rows.items() if not np.isnan(row).any()}
        return [
            Sample(
                letter, float(t), {c.value: _coded(c, float(row[i])) for c, row in known.items()}
            )
            for i, t in enumerate(times)
        ]


def _oven_degc(step: Step) -> float | None:
    """Return the oven's temperature, None where the head is in the room."""
    what, _, rest = step.name.partition(" ")
    return float(rest.split()[0]) if what in ("soak", "oven") else None


def _coded(channel: Channel, value: float) -> float:
    """Return a value in whole steps of the wire."""
    step = 1e-4 if channel is Channel.TEMPERATURE else np.radians(1e-4)
    return float(np.rint(value / step) * step)


def write_papers(folder: Folder, seed: int, today: date, letters: Sequence[str]) -> None:
    """Write sheet and register of an invented workshop, where there are none yet."""
    bench = SimulatedBench(seed)
    if not folder.references.exists():
        write_whole(folder.references, _register(today))
    if not folder.sheet.exists():
        heads = "".join(_head(bench, letter, i, today) for i, letter in enumerate(letters, 1))
        write_whole(folder.sheet, _sheet(today) + heads)


def _register(today: date) -> str:
    since, until = today - timedelta(days=90), today + timedelta(days=275)
    entries = (
        ("KL-SINE-1", "sine-bar", f"{SINE_BAR_MM:.3f}", "mm", U_SINE_BAR_MM, 118),
        ("KL-BLK-1", "gauge-blocks", "0.0000", "mm", U_BLOCK_MM, 119),
        ("KL-BAR-1", "bar", f"{BAR_MM:.1f}", "mm", U_BAR_MM, 120),
        ("KL-IDX-1", "indexing-plate", "0.0000", "deg", U_INDEX_DEG, 121),
        ("KL-T-1", "thermometer", "0.02", "Cel", U_THERMOMETER, 122),
    )
    return "".join(_reference(*entry, since, until) for entry in entries)


def _reference(
    name: str, kind: str, value: str, unit: str, u: float, number: int, since: date, until: date
) -> str:
    more = f"U_angle_deg = {BEDS_DEG}\n" if kind in ("sine-bar", "bar") else ""
    if kind == "indexing-plate":
        more = "backlash_deg = 0.0\n"  # the simulated one stops alike from both sides
    if kind == "gauge-blocks":
        blocks = ", ".join(f"{{ nominal_mm = {b}, U_mm = {u:g} }}" for b in NOMINAL)
        more = f"blocks = [{blocks}]\n"
    paper = f"{number:064x}"
    return f"""[[reference]]
id = "{name}"
kind = "{kind}"
certificate = "FMO-{since.year}-{number}"
certificate_sha256 = "{paper}"
issuer = "Fenmoor Metrology Office (invented)"
value = {value}
unit = "{unit}"
U = {u:g}
k = 2
date = {since}
due = {until}
{more}
"""


def _sheet(today: date) -> str:
    return f"""# Who, for whom, which heads, with what. Everybody and everything here is invented.
simulated = true
issued = {today}
received = {today}
due = {today + timedelta(days=365)}
due_agreed = true
place = "bench 1 of Kestrel Lane Works"
performed_by = "Ada Brindle"
authorised_by = "Jonas Wexcombe"
deviations = "none"
references = ["KL-SINE-1", "KL-BLK-1", "KL-BAR-1", "KL-IDX-1", "KL-T-1"]
head_class = "H0.05"
decision_rule = "guard-u-4"

[lab]
name = "Kestrel Lane Works"
address = "3 Kestrel Lane, Harrowmere"
country = "GB"

[customer]
name = "Kestrel Lane Works"
address = "3 Kestrel Lane, Harrowmere"
contact = "bay 1"

[method]
name = "KLW-7 tilt and encoder bench"
version = "1"

[environment]
temperature = {{ value = "20.0", U = "0.5", k = "2", unit = "Cel" }}

[seat.azimuth_track]
value_deg = 0.0
U_deg = {U_SEAT_DEG}
basis = "stub shaft against the fence of the spindle, whose squareness was checked end for end"
"""


def _head(bench: SimulatedBench, letter: str, number: int, today: date) -> str:
    head = bench.heads[letter]
    ports = {"azimuth_cross": head.design.cross, "azimuth_track": head.design.track}
    own = "".join(_port(name, port) for name, port in ports.items())
    return f"""
[[head]]
letter = "{letter}"
head_id = "{head.design.head}"
record_id = "cal-{today.year}-{100 + number:04d}"
serial = "KL-{letter}-{number:03d}"
model = "hanging head, two axes"
firmware = "simulated-head 1.0"
condition = "as used, without marks"
stub_m = 0.25
u_stub_m = 0.001
{own}"""


def _port(name: str, port: Port) -> str:
    return f"""
[head.ports.{name}]
forward_m = {port.forward_m}
outward_m = {port.outward_m}
u_forward_m = 0.001
u_outward_m = 0.001
"""
