"""Do the intervals of a verification hold the truth as often as they say?

2000 seeded benches for each case. Every reference errs by a draw from what its own certificate
states, the head has known errors, and each result is held against them with the expanded
uncertainty that would be printed (95.45 %).
"""

import math
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from calibration.decision import Rule
from calibration.files.points import Points, Reading
from calibration.files.references import Kind, Reference, Register
from calibration.verification.head_class import HeadClass
from calibration.verification.run import verify
from calibration.verification.setup import References, Setup

RUNS = 2000
LOW, HIGH = 0.933, 0.966
NO_LIMITS = HeadClass("none", {})
NOISE_DEG = 0.003


def reference(name, kind, value, unit, expanded, **rest):
    return Reference(
        id=name,
        kind=kind,
        certificate="FMO-2026-118",
        certificate_sha256="a" * 64,
        issuer="Fenmoor Metrology Office",
        value=Decimal(value),
        unit=unit,
        U=Decimal(expanded),
        k=Decimal(2),
        date=date(2026, 1, 12),
        due=date(2027, 1, 12),
        **rest,
    )


SINE = reference("S", Kind.SINE_BAR, "200", "mm", "0.02", U_angle_deg=Decimal("0.002"))
BLOCKS = reference("B", Kind.GAUGE_BLOCKS, "0", "mm", "0.004", U_per_mm=Decimal("0.0001"))
LEVEL = reference("L", Kind.LEVEL, "0", "deg", "0.003")
ENCODER = reference(
    "E",
    Kind.REFERENCE_ENCODER,
    "0",
    "deg",
    "0.004",
    step_deg=Decimal("0.001"),
    backlash_deg=Decimal(0),  # as it is on this bench: what sticks is the head
)
REGISTER = Register("references.toml", (SINE, BLOCKS, LEVEL, ENCODER))


def evaluated(readings, ids):
    references = References(REGISTER, ids, date(2026, 11, 25))
    points = Points("found.csv", tuple(readings))
    (channel,) = verify(
        points, None, references, NO_LIMITS, Rule.GUARD_U_4, Setup(warmer_k=0.5)
    ).channels
    return channel


def holds(result, truth):
    return abs(result.value - truth) <= result.expanded


class Tally:
    def __init__(self):
        self.counts = {}

    def add(self, name, inside):
        self.counts.setdefault(name, []).append(inside)

    def check(self):
        shares = {name: float(np.mean(seen)) for name, seen in self.counts.items()}
        assert all(len(seen) == RUNS for seen in self.counts.values())
        assert {n: s for n, s in shares.items() if not LOW <= s <= HIGH} == {}, shares
        return shares


def line_through(angles, errors):
    """What is left of errors (n,) when their best straight line is taken off."""
    return errors - np.polyval(np.polyfit(angles, errors, 1), angles)


TILTS = (-5.0, 0.0, 5.0)
UP_AND_DOWN = [("up", n) for n in TILTS] + [("down", n) for n in reversed(TILTS)]


def uneven(tilt, direction):
    """Zero 0.004, scale 0.2 %, bent by 0.006 and lagging by 0.02 deg in the middle.

    One point stands out, so that it is always the same that has the largest error.
    """
    middle = 1.0 - abs(tilt) / 5.0
    return 0.004 + 0.002 * tilt + middle * (0.006 + (0.02 if direction == "down" else 0.0))


def none_at_all(tilt, direction):
    """A head well adjusted: the largest error is whichever happened to be read so."""
    return 0.0


def sine_bar_run(rng, by_reversal, head_error):
    length = 200.0 + float(SINE.u) * rng.standard_normal()
    face = SINE.u_angle_deg * rng.standard_normal()
    plate = 0.05 if by_reversal else float(LEVEL.u) * rng.standard_normal()
    warmer = rng.uniform(-0.5, 0.5)
    square = math.radians(0.05 * rng.standard_normal())
    nominal = 200.0 * math.sin(math.radians(5.0))
    height = nominal + (BLOCKS.u + float(BLOCKS.U_per_mm) / 2 * nominal) * rng.standard_normal()
    height *= 1.0 + 11.5e-6 * warmer
    readings = []
    for repeat in (1, 2):
        for direction, tilt in UP_AND_DOWN:
            for facing in ("as-marked", "turned") if tilt == 0 and by_reversal else ("as-marked",):
                stack = 0.0 if tilt == 0 else math.degrees(math.asin(height / length))
                laid = plate if facing == "as-marked" else -plate
                true = math.copysign(stack, tilt) + face + laid
                # What the head gets wrong it gets wrong at the tilt it truly has.
                said = true + head_error(tilt, direction) + NOISE_DEG * rng.standard_normal()
                across = (0.002 + math.sin(square)) * true + NOISE_DEG * rng.standard_normal()
                raw = {"incl_y": math.radians(said), "incl_x": math.radians(across)}
                stated = round(nominal, 6) if tilt else 0.0
                readings.append(
                    Reading(
                        row=len(readings) + 1,
                        channel="incl_y",
                        nominal_deg=Decimal(str(tilt)),
                        direction=direction,
                        repeat=repeat,
                        facing=facing,
                        height_mm=stated,
                        blocks_mm=(),
                        reference_deg=None,
                        reference_id=None,
                        raw_rad=raw,
                        temperature_degc=20.0,
                    )
                )
    return readings


@pytest.mark.parametrize(
    ("by_reversal", "head_error"),
    [(True, uneven), (False, none_at_all)],
    ids=["plate by reversal, one error stands out", "plate by level, all errors alike"],
)
def test_intervals_of_an_inclinometer_on_a_sine_bar_cover(by_reversal, head_error):
    rng = np.random.default_rng([20, by_reversal])
    ids = ("S", "B") if by_reversal else ("S", "B", "L")
    truth = {(n, d): head_error(n, d) for d, n in UP_AND_DOWN}
    mean = np.array([(truth[n, "up"] + truth[n, "down"]) / 2 for n in TILTS])
    bent = dict(zip(TILTS, line_through(TILTS, mean), strict=True))
    tally = Tally()
    for _ in range(RUNS):
        channel = evaluated(sine_bar_run(rng, by_reversal, head_error), ids)
        known = {str(p.at): truth[float(p.at.nominal_deg), p.at.direction] for p in channel.points}
        for point in channel.points:
            tally.add(str(point.at), holds(point.budget, known[str(point.at)]))
        found = {f.name: f for f in channel.figures}
        tally.add("max-error", holds(found["max-error"], known[found["max-error"].at]))
        tally.add("zero", holds(found["zero"], mean[1]))
        lag = float(found["hysteresis"].at.rstrip("°"))
        tally.add("hysteresis", holds(found["hysteresis"], truth[lag, "down"] - truth[lag, "up"]))
        middle = float(found["linearity"].at.rstrip("°"))
        tally.add("linearity", holds(found["linearity"], bent[middle]))
        tally.add("cross-axis", holds(found["cross-axis"], 0.2))
    tally.check()


TURNS = (0.0, 90.0, 180.0, 270.0)
TURNED = [("up", n) for n in TURNS] + [("down", n) for n in reversed(TURNS)]


def encoder_error(angle, direction):
    """A little eccentric, and sticking at 90 deg on the way down."""
    stuck = 0.03 if (angle, direction) == (90.0, "down") else 0.0
    return 0.005 * math.cos(math.radians(angle)) + stuck


def encoder_run(rng):
    offset = rng.uniform(0.0, 360.0)
    errs = {n: float(ENCODER.u) * rng.standard_normal() for n in TURNS}
    readings = []
    for repeat in (1, 2):
        for direction, angle in TURNED:
            true = angle + 0.05 * rng.standard_normal()
            said = true + offset + encoder_error(angle, direction)
            said += NOISE_DEG * rng.standard_normal()
            readings.append(
                Reading(
                    row=len(readings) + 1,
                    channel="rotation",
                    nominal_deg=Decimal(str(angle)),
                    direction=direction,
                    repeat=repeat,
                    facing="as-marked",
                    height_mm=None,
                    blocks_mm=(),
                    reference_deg=round(true + errs[angle], 3),
                    reference_id=None,
                    raw_rad={"rotation": math.radians(said)},
                    temperature_degc=20.0,
                )
            )
    return readings


def test_intervals_of_an_encoder_against_another_cover():
    # The other knows differences alone: errors are held against their own mean.
    rng = np.random.default_rng(21)
    truth = {(n, d): encoder_error(n, d) for d, n in TURNED}
    mean = float(np.mean(list(truth.values())))
    tally = Tally()
    for _ in range(RUNS):
        channel = evaluated(encoder_run(rng), ("E",))
        known = {
            str(p.at): truth[float(p.at.nominal_deg), p.at.direction] - mean for p in channel.points
        }
        for point in channel.points:
            tally.add(str(point.at), holds(point.budget, known[str(point.at)]))
        found = {f.name: f for f in channel.figures}
        tally.add("max-error", holds(found["max-error"], known[found["max-error"].at]))
        lag = float(found["hysteresis"].at.rstrip("°"))
        tally.add("hysteresis", holds(found["hysteresis"], truth[lag, "down"] - truth[lag, "up"]))
    tally.check()
    assert "zero" not in found
    assert "linearity" not in found
