"""Corrections proved on a vehicle that shares nothing with them.

The simulated vehicle is a linkage in space: joints are points, rods are distances, knuckles turn
about inclined axes, and its dimensions differ from what its file says. A correction is computed
from a noisy measurement and the file; a technician who knows nothing but its published sentences
does what they say; then the vehicle itself is asked where it stands. A sign, a factor of two, a
thread turned the wrong way or a word that says other than its figure would leave more error than
was there. Vehicles and adjusters are invented; what a dimension may be off by is our own guess.
"""

import json
import math
from collections import Counter

import numpy as np
import pytest

from ingest.commands.correct_text import as_json
from ingest.commands.practice_parts import simulated_part
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.payload.correction import parse_correction
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.adjusting.hands import follow
from ingest.simulator.adjusting.screw import BACKLASH_M
from ingest.simulator.adjusting.shelf import OFF as OFF_STAMP
from ingest.simulator.truth import steering_truth, vehicle_truth
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt, WheelBuild

SEEDS = range(25)
U_DEG = 0.01
SIGMAS = 4.5
"""Beyond this goes normal noise once in 147 000 draws; here are 275, and always the same."""
OFF = 0.03
"""Of a change: 1 % each of two dimensions, 1 % of the lean that corrections leave out."""
NUMBER = 2


class Bay:
    """One axle of a vehicle on a ramp, its adjusters, and a clock that only waiting moves."""

    def __init__(self, random, part, heading_deg, toes_deg):
        self.now_s = 0.0
        left, right = (
            WheelBuild(
                random.uniform(-0.5, 0.8) * DEG,
                toe * DEG,
                random.uniform(2, 5) * DEG,
                random.uniform(5, 8) * DEG,
            )
            for toe in toes_deg
        )
        axle = AxleBuild(
            NUMBER, 0.0, 0.002, 2.04, 0.5, heading_deg * DEG, left, right, steered=True
        )
        self.vehicle = Vehicle("invented", (axle,), (), *random.uniform(-0.1, 0.1, 2) * DEG)
        self.adjusters = Adjusters(self.vehicle, {NUMBER: [part]}, random, clock=lambda: self.now_s)

    def follow(self, sentences):
        for step in follow(self.adjusters, NUMBER, sentences):
            self.now_s += step.wait_s

    def truth(self, quantity, side):
        """What the vehicle truly stands at: one value, or those of both sides for caster."""
        axle = vehicle_truth(self.vehicle, self.now_s).axles[NUMBER]
        match quantity:
            case "axle_heading" | "steer_parallelism":
                return axle.heading_rad
            case "total_toe":
                return axle.total_toe_rad
            case "lateral_offset":
                wheels = vehicle_truth(self.vehicle, self.now_s).wheels
                hubs = [wheels[WheelAt(NUMBER, s)].hub_m for s in Side]
                return self.vehicle.to_vehicle(np.array(hubs))[:, 1].mean()
            case "steering_wheel":
                return self.adjusters.steering_wheel_rad(NUMBER, self.now_s)
            case "lock_angle":
                return self.adjusters.lock_angle_rad(NUMBER, side, self.now_s)
            case "caster":
                wheels = [WheelAt(NUMBER, s) for s in Side]
                return np.array(
                    [steering_truth(self.vehicle, w, self.now_s).caster_rad for w in wheels]
                )


def threads(random):
    direction = {"turn": str(random.choice(["clockwise", "counter-clockwise"]))}
    direction["seen_from"] = str(random.choice(["front", "rear", "left", "above", "outside"]))
    pitch = float(random.choice([1.0, 1.5, 2.0]))
    pitches = [pitch] if random.integers(2) else [pitch, pitch]
    said = {"lengthens": direction} if random.integers(2) else {}
    return {"pitch_mm": pitches, "travel_mm": {"longer": 40, "shorter": 40}} | said


def at_ends(random):
    return {
        "between_m": float(random.uniform(0.8, 1.2)),
        "adjust": str(random.choice(["left", "right", "both"])),
    }


def lever(random):
    arm = {"arm_mm": float(random.uniform(150, 280)), "arm_deg": float(random.uniform(-15, 15))}
    return threads(random) | arm


def stock(*sizes):
    return [{"thickness_mm": size, "count": 4} for size in sizes]


def way(random, one, other):
    return one if random.integers(2) else other


KINDS = {
    "threaded_arms": lambda r: at_ends(r) | threads(r) | {"anchor": way(r, "ahead", "behind")},
    "eccentrics": lambda r: (
        at_ends(r)
        | {"radius_mm": float(r.uniform(18, 22)), "range_deg": 85}
        | {"at_deg": {"left": float(r.uniform(-15, 15)), "right": float(r.uniform(-15, 15))}}
        | ({"forward": {"turn": "clockwise", "seen_from": "outside"}} if r.integers(2) else {})
    ),
    "shims": lambda r: (
        at_ends(r)
        | {"stock": stock(0.5, 1, 2, 3), "fitted": {"left": [5, 5], "right": [5, 5]}}
        | {"thicker_moves": way(r, "forward", "rearward"), "most_mm": 25}
    ),
    "bar_pins": lambda r: (
        at_ends(r)
        | {"positions": [{"name": f"hole {n:+d}", "forward_mm": 3.0 * n} for n in range(-3, 4)]}
        | {"at": {"left": "hole +0", "right": "hole +1"}}
    ),
    "lateral_shims": lambda r: {
        "stock": stock(0.5, 1, 2, 3),
        "fitted": [5, 3],
        "thicker_moves": way(r, "left", "right"),
        "most_mm": 25,
    },
    "tie_rod": lambda r: (
        lever(r)
        | {"rod": way(r, "ahead", "behind")}
        | ({"drag_link_side": way(r, "left", "right")} if r.integers(2) else {})
    ),
    "drag_link": lambda r: (
        lever(r) | {"ratio": float(r.uniform(16, 24)), "left_steer": way(r, "pushes", "pulls")}
    ),
    "relay_rod": lambda r: lever(r) | {"left_steer": way(r, "pushes", "pulls")},
    "steering_stop": lambda r: threads(r) | {"radius_mm": 180, "most_deg": 60},
    "wedges": lambda r: {
        "stock": [{"angle_deg": a, "count": 2} for a in (0.25, 0.5, 0.75, 1.0, 1.25, 1.5)],
        "fitted_deg": {"left": 0.5, "right": 0.5},
        "most_difference_deg": 1.0,
        "most_deg": 3.0,
        "spring": way(r, "above", "below"),
    },
}
QUANTITY = {
    **dict.fromkeys(("threaded_arms", "eccentrics", "shims", "bar_pins"), "axle_heading"),
    "lateral_shims": "lateral_offset",
    "tie_rod": "total_toe",
    "drag_link": "steering_wheel",
    "relay_rod": "steer_parallelism",
    "steering_stop": "lock_angle",
    "wedges": "caster",
}


def handled_m(adjuster, steps):
    """How much is taken out of packs and put in, together."""
    total = 0.0
    for step in steps:
        fitted = adjuster["fitted"] if step.side is None else adjuster["fitted"][step.side.value]
        before = Counter(round(size * 1e3) for size in fitted)
        after = Counter(round(size * 1e6) for size in step.thicknesses_m)
        total += sum((size * n for size, n in ((before - after) + (after - before)).items()))
    return total * 1e-6


def acts_on(kind, adjuster):
    """How much a metre at the adjuster changes what it sets, rad (or m)."""
    match kind:
        case "threaded_arms" | "eccentrics" | "shims" | "bar_pins":
            return 1.0 / adjuster["between_m"]
        case "tie_rod" | "relay_rod" | "drag_link":
            upright = math.cos(adjuster["arm_deg"] * DEG + 2.0 * DEG)
            return adjuster.get("ratio", 1.0) / (adjuster["arm_mm"] * 1e-3 * upright)
        case "steering_stop":
            return 1.0 / (adjuster["radius_mm"] * 1e-3)
        case _:
            return 1.0


def left_open(kind, adjuster, steps):
    """What the play of threads, and shims that are off their stamp, can leave (rad or m)."""
    if "shims" in kind:
        return OFF_STAMP * handled_m(adjuster, steps) * acts_on(kind, adjuster)
    ends = 2 if adjuster.get("adjust") == "both" else 1
    return ends * BACKLASH_M * acts_on(kind, adjuster) if "pitch_mm" in adjuster else 0.0


def half_a_step(kind, adjuster):
    """The most that an adjuster which goes in steps has to leave (rad or m)."""
    ends = 2 if adjuster.get("adjust") == "both" else 1
    match kind:
        case "wedges":
            return 0.25 / 2 * DEG
        case "bar_pins":
            half_m = 3e-3 / 2
        case "shims" | "lateral_shims":
            half_m = 0.5e-3 / 2
        case "eccentrics":
            half_m = ends * adjuster["radius_mm"] * 1e-3 * DEG / 2
        case _:
            half_m = ends * sum(adjuster["pitch_mm"]) * 1e-3 * 5 / 360 / 2
    return half_m * acts_on(kind, adjuster)


def change_wanted(random, kind):
    """How far from its target a vehicle is found, deg or mm: what people find, and some more."""
    most = {"drag_link": 12.0, "lateral_shims": 6.0, "steering_stop": 3.0}
    most |= {"bar_pins": 0.3, "shims": 0.4}
    size = most.get(kind, 0.8)
    parts = random.uniform(0.15, 1.0, 2 if kind == "wedges" else None)
    return parts * size * random.choice([-1, 1])


def corrected(kind, seed):
    """Find, measure, correct, follow; return before, after, the correction and what may be left:
    by noise, by play and stamps, by the steps in which the adjuster goes."""
    random = np.random.default_rng([seed, list(KINDS).index(kind)])
    quantity, adjuster = QUANTITY[kind], {"kind": kind} | KINDS[kind](random)
    file = {"quantity": quantity, "axle": NUMBER, "adjuster": adjuster}
    side = Side(way(random, "left", "right"))
    unit, scale = ("mm", 1e-3) if quantity == "lateral_offset" else ("deg", DEG)
    file |= {"side": side.value} if quantity == "lock_angle" else {}
    part = parse(file, unit, 0.0, 0.0).adjuster
    drawn = part.part(side) if kind == "steering_stop" else part.part()
    held = Side(adjuster.get("drag_link_side", "left"))
    heading, half = random.uniform(-0.6, 0.6), random.uniform(-0.3, 0.3)
    beam = heading if quantity == "axle_heading" else random.uniform(-0.3, 0.3)
    bay = Bay(random, simulated_part(drawn, held), beam, (half - heading, half + heading))
    before = bay.truth(quantity, side)
    u = 0.5 if kind == "drag_link" else U_DEG
    measured = before / scale + u * random.standard_normal(np.shape(before))
    target = before / scale + change_wanted(random, kind)
    correction = parse(file, unit, measured, target, u).correct()
    bay.follow([step["text"] for step in as_json(kind, correction)["steps"]])
    may_leave = (
        SIGMAS * u * scale,
        left_open(kind, adjuster, correction.steps),
        half_a_step(kind, adjuster),
    )
    return before, bay.truth(quantity, side), correction, may_leave


def parse(file, unit, measured, target, u=U_DEG):
    if file["quantity"] == "lock_angle" and not measured:
        measured = target = 40.0
    plain = for_both if file["quantity"] == "caster" else float
    values = {f"measured_{unit}": plain(measured), f"target_{unit}": plain(target), f"u_{unit}": u}
    return parse_correction(json.dumps(file | values), "test")


def for_both(values):
    left, right = np.broadcast_to(values, 2).tolist()
    return {"left": left, "right": right}


def figures(outcomes):
    """Expected, wanted and measured values."""
    return np.array(
        [(each.expected, each.wanted.target, each.wanted.measured.value) for each in outcomes]
    ).T


@pytest.mark.parametrize("kind", KINDS)
def test_who_follows_the_advice_ends_where_it_promised(kind):
    for seed in SEEDS:
        before, after, correction, (noise, lost, half) = corrected(kind, seed)
        expected, target, measured = figures(correction.outcomes)
        moved, promised = expected - measured, expected - target
        doubt = OFF * np.abs(moved) + lost + 1e-7
        context = (seed, [step.text for step in correction.steps])
        assert np.all(np.abs((after - before) - moved) <= doubt), (context, after - before, moved)
        assert np.all(np.abs(promised) <= half * (1 + OFF) + 1e-9), (context, promised, half)
        assert np.all(np.abs(after - target) <= np.abs(promised) + noise + doubt), context
