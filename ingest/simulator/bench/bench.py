"""The bench with its two heads: told what the technician does, it says what they read."""

import math
from collections.abc import Callable, Mapping

import numpy as np

from ingest.core.blocks import F64
from ingest.core.channels import ROW, Channel
from ingest.core.ids import HeadId
from ingest.simulator.bench.placement import (
    Columns,
    Lying,
    Port,
    on_bar,
    on_plate,
    on_spindle,
    tumbled,
)
from ingest.simulator.bench.things import Repeats, draw_seat_rad, draw_things
from ingest.simulator.bench.wander import Wander
from ingest.simulator.draws import draw_head
from ingest.simulator.faults import MILD, FaultInjector
from ingest.simulator.firmware import Clockwork, Firmware
from ingest.simulator.head import Head
from ingest.simulator.ptyhead import PtyHead
from ingest.simulator.streams import stream

NAMES = {"A": "alder", "B": "birch"}
"""The heads of the bench are the first two of the demo, by the same seed."""
ROOM_DEGC = 20.0
WARM_DEGC = 0.8
"""What a head that was switched on long ago is warmer than the room."""
WARMING_S = 900.0
"""Time constant of that; both heads are switched on at time zero of the clock."""
SOAK_S = 1800.0
"""Time constant with which the inside of a head follows the air of an oven."""
RESTED_S = 4 * 3600.0
"""A settled reading is taken of a head that has long been on, and has come to rest."""
SHAKE_RAD = math.radians(2.0)
SHAKE_S = 0.3
"""A head that was just put down swings out in about this time."""
STEP_DEG = 1e-4
RATE_HZ = 50.0


class SimulatedBench:
    """Everything simulated, from one seed. ``clock`` gives the time in s."""

    def __init__(
        self,
        seed: int,
        clock: Callable[[], float] = lambda: 0.0,
        repeats: Repeats | None = None,
        *,
        three_axis: bool = False,
    ) -> None:
        self.things = draw_things(seed)
        self.heads: dict[str, Head] = {
            a: draw_head(seed, name, three_axis=three_axis) for a, name in NAMES.items()
        }
        self.repeats = Repeats() if repeats is None else repeats
        self._clock = clock
        self._seed = seed
        self._random = stream(seed, "technician at the bench")
        self._noise = {letter: stream(seed, "bench noise", letter) for letter in NAMES}
        self._lying = {letter: Lying(np.eye(3)) for letter in NAMES}
        self._placed_s = dict.fromkeys(NAMES, -math.inf)
        self._inside_degc = ROOM_DEGC
        self._settled_s = 0.0
        flicker = self.repeats.flicker_rad
        self._wander = {a: Wander(flicker, stream(seed, "flicker", a)) for a in NAMES}

    def head_id(self, letter: str) -> HeadId:
        """Return the hardware identity of a head."""
        return self.heads[letter].design.head

    def take_up(self, *key: str | int) -> None:
        """Draw all that is random from here on from a key: work that was broken off goes on as
        if it had not been."""
        self._random = stream(self._seed, "technician at the bench", *key)
        self._noise = {a: stream(self._seed, "bench noise", a, *key) for a in NAMES}

    def samples(self, letter: str, t_s: F64) -> F64:
        """Return raw channels at increasing times, shape (8, n), rad."""
        head = self.heads[letter]
        return head.sensors.read(self._true(letter, t_s), self._noise[letter])

    def place(self, kind: str, columns: Columns, letter: str = "A") -> None:
        """Put a head, or both on the bar, where the columns of a row say.

        Args:
            kind: name of the file without its ending: ``steps``, ``turn``, ``bar``, ``bar-found``,
                ``found``, ...
        """
        if kind.startswith("bar"):
            for each, lying in self._on_bar(columns).items():
                self._put(each, lying)
            return
        self._put(letter, self._one(kind, columns, letter))

    def soak(self, air_degc: float, wait_s: float) -> None:
        """Bring the air about the heads to a temperature, and wait while they follow."""
        left = math.exp(-wait_s / SOAK_S)
        self._inside_degc = air_degc + (self._inside_degc - air_degc) * left

    def read(self, letter: str, n: int = 100) -> dict[str, float]:
        """Return the mean of n raw samples of a head at rest, angles in degrees; and its spread."""
        head = self.heads[letter]
        self._settled_s += RESTED_S
        true = self._true(letter, self._settled_s + np.arange(n) / RATE_HZ)
        raw = head.sensors.read(true, self._noise[letter])
        told: dict[str, float] = {}
        spreads = []
        for channel in head.design.channels:
            row = raw[ROW[channel]]
            if np.isnan(row).any():
                continue
            if channel is Channel.TEMPERATURE:
                told["temperature_degc"] = float(row.mean())
                continue
            stepped = np.rint(np.degrees(row) / STEP_DEG) * STEP_DEG
            told[f"{channel.value}_deg"] = float(stepped.mean())
            spreads.append(float(stepped.std(ddof=1)) if n > 1 else 0.0)
        return told | {"spread_deg": max(spreads, default=0.0)}

    def true_channels(self, head: Head, t_s: F64) -> F64:
        """Return what a perfect head reads at increasing times, shape (8, n)."""
        letter = next(a for a, own in self.heads.items() if own is head)
        return self._true(letter, t_s)

    def pty(self, letter: str, rate_hz: float = RATE_HZ) -> PtyHead:
        """Return a head on a real pty; its bytes follow the placement."""
        firmware = Firmware(
            self,
            self.heads[letter],
            random=stream(self._seed, "bench firmware", letter),
            clockwork=Clockwork(),
            faults=FaultInjector(MILD, stream(self._seed, "bench faults", letter)),
            rate_hz=rate_hz,
        )
        return PtyHead(firmware, self._clock)

    def _put(self, letter: str, lying: Lying) -> None:
        self._lying[letter] = lying
        self._placed_s[letter] = self._clock()

    def _one(self, kind: str, columns: Columns, letter: str) -> Lying:
        t, random, repeats = self.things, self._random, self.repeats
        if kind == "sphere":
            return tumbled(columns["attitude"], random)
        if kind == "reversal":
            axis = "xy".index(columns["axis"])
            turned = columns["facing"] == "turned"
            return on_plate(t, f"place {columns['axis']}", axis, 0.0, 1.0, turned, random, repeats)
        if kind == "oven":
            angle, axis = math.radians(float(columns["true_deg"])), "xy".index(columns["axis"])
            height = t.sine_bar_mm * math.sin(angle)
            return on_plate(t, "shelf", axis, height, 1.0, False, random, repeats)
        if kind == "steps":
            height = t.height_mm("", columns["height_mm"])
            axis, sign = "xy".index(columns["axis"]), float(columns["sign"])
            return on_plate(t, "plate", axis, height, sign, False, random, repeats)
        if kind in ("found", "left") and columns["channel"].startswith("incl"):
            return self._point(columns)
        if kind in ("turn", "closure", "found", "left"):
            channel, turned_to = columns["channel"], _turned_to(columns)
            seat_rad = draw_seat_rad(self._seed, letter, channel, kind)
            return on_spindle(t, channel, *turned_to, seat_rad, random, repeats)
        return Lying(np.eye(3))

    def _point(self, columns: Columns) -> Lying:
        height = self.things.height_mm(columns.get("blocks_mm", ""), columns["height_mm"])
        sign = -1.0 if columns["nominal_deg"].startswith("-") else 1.0
        axis = "xy".index(columns["channel"][-1])
        turned = columns.get("facing") == "turned"
        return on_plate(
            self.things, "plate", axis, height, sign, turned, self._random, self.repeats
        )

    def _on_bar(self, columns: Columns) -> Mapping[str, Lying]:
        ports = {
            letter: Port(head.design.cross.forward_m, head.design.cross.outward_m)
            for letter, head in self.heads.items()
        }
        return on_bar(self.things, columns, ports, "azimuth_cross", self._random, self.repeats)

    def _true(self, letter: str, t_s: F64) -> F64:
        """Return true channels; a head that was just put down still swings."""
        lying, design = self._lying[letter], self.heads[letter].design
        since = t_s - self._placed_s[letter]
        swing = SHAKE_RAD * np.exp(-np.maximum(since, 0.0) / SHAKE_S)
        true = np.full((8, t_s.size), np.nan)
        sines = np.outer(lying.turn[2], np.cos(swing)) + np.outer(lying.turn[1], np.sin(swing))
        wander = self._wander[letter].at(t_s)
        for i, channel in enumerate((Channel.INCL_X, Channel.INCL_Y, Channel.INCL_Z)):
            if channel in design.channels:
                # A sensor wanders in its share of gravity, whichever way it lies.
                true[ROW[channel]] = np.arcsin(np.clip(sines[i] + wander[i], -1.0, 1.0))
        if Channel.ROTATION in design.channels:
            true[ROW[Channel.ROTATION]] = lying.rotation_rad
        for name, azimuth in lying.azimuth.items():
            true[ROW[Channel(name)]] = azimuth
        cold = WARM_DEGC * np.exp(-np.maximum(t_s, 0.0) / WARMING_S)
        true[ROW[Channel.TEMPERATURE]] = self._inside_degc + WARM_DEGC - cold
        return true


def _turned_to(columns: Columns) -> tuple[float, bool]:
    """Return the angle of the spindle, rad, and whether it was turned to falling."""
    if "position" in columns:
        start, position = int(columns["start"]), int(columns["position"])
        return math.tau * ((position - 1) / 12 + 0.11 * (start - 1)), False
    told = columns.get("true_deg") or columns.get("reference_deg") or "0"
    return math.radians(float(told)), columns["direction"] == "down"
