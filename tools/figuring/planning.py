"""How long the order of work takes to plan for vehicles of eight axles, drawn at random."""

import random
import sys
import time
import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
from rows import row

sys.path.insert(0, str(Path(__file__).parents[2]))

from ingest.commands.vehicle_source import shipped
from ingest.job.plan.plan import plan
from ingest.payload.vehicle_file import VehicleFile

AXLES = 8
VEHICLES = 300
ASKED_S = 1.0
APART_M = 1.3
PAIRS = (2, 3, 4)
BLOCKED = (0.0, 0.25)
"""Shares of all sightlines that a vehicle's own parts block."""


def planning(quick):
    """The plan of eight axles in one frame: any that are set, with sightlines blocked by chance."""
    rows = []
    for share in BLOCKED:
        draw = random.Random(f"{share}")
        took_s = []
        for _ in range(VEHICLES // 10 if quick else VEHICLES):
            whole, pairs = _drawn(draw, share), draw.choice(PAIRS)
            began = time.process_time()
            plan(whole, pairs)
            took_s.append(time.process_time() - began)
        what = f"{share:.0%} of sightlines blocked"
        for name, found in (
            ("half within", np.median(took_s)),
            ("99 of 100 within", np.percentile(took_s, 99)),
            ("the slowest", np.max(took_s)),
        ):
            rows.append(row(f"{what}, {name}", float(found), "s", found / ASKED_S, "of 1 s"))
        rows.append(row(f"{what}, vehicles over {ASKED_S:g} s", _over(took_s), "of 100"))
    return rows


def _over(took_s):
    return 100.0 * float(np.mean(np.array(took_s) > ASKED_S))


def _drawn(draw, share):
    """Return a rigid vehicle with one or two steer axles, and drive and lift axles behind."""
    found = tomllib.loads(shipped()["rigid-8x4"])
    found["id"] = "drawn"
    steer, second, arms, _ = found["axle"]
    axles = [steer, *([second] if draw.random() < 0.5 else [])]
    at_m = [axle["behind_m"] for axle in axles]
    while len(axles) < AXLES:
        axles.append(dict(arms))
        at_m.append(max(5.2, at_m[-1] + APART_M))
    for number, (axle, behind_m) in enumerate(zip(axles, at_m, strict=True), start=1):
        axle |= {"number": number, "behind_m": behind_m}
        for name in ("total_toe", "axle_heading", "steer_parallelism"):
            if name in axle and draw.random() < 0.3:
                del axle[name]
    found["axle"] = axles
    found["blocked"] = [each for each in _lines() if draw.random() < share]
    return VehicleFile.model_validate(found).value()


def _lines():
    for number in range(1, AXLES + 1):
        yield {"across": number, "by": "frame"}
    for one, other in combinations(range(1, AXLES + 1), 2):
        for side in "LR":
            yield {"wheels": [f"{side}{one}", f"{side}{other}"], "by": "tank"}
