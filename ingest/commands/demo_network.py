"""Networks of the simulated fleet, for tests and figures: sightlines of each vehicle, and tapes."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np

from ingest.commands.demo_rig import DemoRig
from ingest.core.frames import Side
from ingest.payload.network_file import NetworkFile
from ingest.payload.topics import Topics
from ingest.simulator.streams import stream
from ingest.simulator.taping import PIN, Tape, station_of
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.truth_by_topic import Frame, network_truth
from ingest.simulator.vehicle import WheelAt

SIGHT_SIGMA_DEG = 0.003
PORTS_M = {"azimuth_cross": (0.60, 0.28), "azimuth_track": (0.10, 0.30)}
"""Forward and outward of the hub: what a rule says of a head whose record says nothing of them."""
TAPE_SIGMA_M = 0.005
PIN_SIGMA_M = 0.001
"""A tape at a kingpin carries a direction on a short base, and is read with more care."""

KINGPIN_M = (7.7, 0.0, 0.48)
"""Of the trailer's kingpin, in the frame of the whole vehicle."""

RIGID = ({"axles": (1, 2, 3, 4), "across": (1, 2, 3), "drive": (3, 4), "steer": (1, 2)},)
TRACTOR = {"axles": (1, 2), "across": (1, 2), "drive": (2,), "steer": (1,)}
TRAILER = {"axles": (3, 4, 5), "across": (3,), "drive": (), "steer": (), "pin": True}
FRAMES: dict[str, tuple[dict[str, Any], ...]] = {
    "rigid-8x4": RIGID,
    "tractor-and-trailer": (TRACTOR, TRAILER),
}
"""The rigid frames of each vehicle: their axles, which of them a sightline crosses, and how they
are used. A tractor and its trailer bend at the kingpin, so each has a network of its own."""


def network_files(demo: DemoRig) -> tuple[NetworkFile, ...]:
    """Return the networks of a vehicle, tapes read as people read them."""
    random = stream(demo.seed, "tapes")
    return tuple(_file(demo, frame, random) for frame in FRAMES[demo.vehicle_name])


def set_ups(vehicle: str) -> tuple[tuple[int, ...], ...]:
    """Return the axles on which the two pairs of heads are, set-up by set-up."""
    return tuple(pair for frame in FRAMES[vehicle] for pair in pairwise(frame["axles"]))


def network_truths(demo: DemoRig, topics: Topics) -> dict[str, float]:
    """Return every quantity of the networks as it truly is, by topic: rad, lengths in m."""
    vehicle = demo.rig.vehicle
    wheels = vehicle_truth(vehicle, 0.0).wheels
    known: dict[str, float] = {}
    for number, frame in enumerate(FRAMES[demo.vehicle_name]):
        known |= network_truth(vehicle, _frame(frame, leads=number == 0), wheels)
    return {f"{topics.root}/{name}": value for name, value in known.items()}


def _frame(frame: dict[str, Any], *, leads: bool) -> Frame:
    """Return the frame as the simulator's truth has it."""
    axles = frame["axles"]
    pin_m = KINGPIN_M if frame.get("pin") else None
    line = (axles[0], axles[1] if pin_m else axles[-1])
    return Frame(axles, line, _reference(frame), frame["drive"], frame["steer"], pin_m, leads)


def _line(frame: dict[str, Any]) -> tuple[Any, int]:
    axles = frame["axles"]
    return (PIN, axles[1]) if frame.get("pin") else (axles[0], axles[-1])


def _reference(frame: dict[str, Any]) -> int:
    axle: int = frame["axles"][1 if frame.get("pin") else -1]
    return axle


def _file(demo: DemoRig, frame: dict[str, Any], random: np.random.Generator) -> NetworkFile:
    axles = frame["axles"]
    stations = [_station(demo, WheelAt(axle, side)) for axle in axles for side in Side]
    if frame.get("pin"):
        stations.append({"id": PIN, "x_m": KINGPIN_M[0], "y_m": KINGPIN_M[1]})
    last = axles[-1]
    return NetworkFile.model_validate(
        {
            "about": f"{demo.rig.vehicle.name}: axles {axles[0]} to {last}",
            "stations": stations,
            "observations": [*_sightlines(frame), *_tapes(demo, frame, random)],
            "centre_line": _line(frame),
            "reference_axle": _reference(frame),
            "drive_axles": frame["drive"],
            "steer_axles": frame["steer"],
            "blocked": _blocked(frame),
        }
    )


def _station(demo: DemoRig, wheel: WheelAt) -> dict[str, Any]:
    axle = demo.rig.vehicle.axles[wheel.axle]
    return {
        "id": station_of(wheel),
        "x_m": axle.x_m,
        "y_m": wheel.side.sign * axle.track_m / 2.0,
        "axle": wheel.axle,
        "side": wheel.side.value,
        "zero_sigma_deg": 0.02,
        "seat_sigma_m": 0.001,
    }


def _sightlines(frame: dict[str, Any]) -> Iterator[dict[str, Any]]:
    pairs = [
        (WheelAt(axle, side), WheelAt(axle, side.other), "azimuth_cross")
        for axle in frame["across"]
        for side in Side
    ]
    for front, rear in pairwise(frame["axles"]):
        for side in Side:
            ends = WheelAt(front, side), WheelAt(rear, side)
            pairs += [(*ends, "azimuth_track"), (*ends[::-1], "azimuth_track")]
    for at, to, channel in pairs:
        yield {
            "type": "direction",
            "at": station_of(at),
            "to": station_of(to),
            "channel": channel,
            "sigma_deg": SIGHT_SIGMA_DEG,
            "at_port_m": PORTS_M[channel],
            "to_port_m": PORTS_M[channel],
        }


def _blocked(frame: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the pairs between which axles and bodies are in the way: none may be advised."""
    return [(f"L{axle}", f"R{axle}") for axle in frame["axles"] if axle not in frame["across"]]


def _tapes(
    demo: DemoRig, frame: dict[str, Any], random: np.random.Generator
) -> Iterator[dict[str, Any]]:
    tape = Tape(demo.rig.vehicle, KINGPIN_M, random)
    axles = frame["axles"]
    pairs = [(f"L{axle}", f"R{axle}", TAPE_SIGMA_M) for axle in axles]
    for front, rear in pairwise(axles):
        pairs += [(f"{side}{front}", f"{side}{rear}", TAPE_SIGMA_M) for side in "LR"]
    if frame.get("pin"):
        pairs += [(PIN, f"{side}{axles[0]}", PIN_SIGMA_M) for side in "LR"]
    for at, to, sigma_m in pairs:
        yield {
            "type": "distance",
            "at": at,
            "to": to,
            "distance_m": round(tape.read_m(at, to, 0.0, sigma_m), 5),
            "sigma_m": sigma_m,
        }
