"""Do the intervals of a verification hold the truth as often as they say?

2000 seeded benches for each kind of reference. Every reference errs by a draw from what its own
certificate states, the head has known errors, and each 95 % interval (t factor of the budget's
degrees of freedom) is held against them.
"""

import math
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from calibration.decision import Rule
from calibration.files.points import Points, Reading
from calibration.files.references import Kind, Reference, Register
from calibration.reporting import t_factor
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
ENCODER = reference("E", Kind.REFERENCE_ENCODER, "0", "deg", "0.004", step_deg=Decimal("0.001"))
REGISTER = Register("references.toml", (SINE, BLOCKS, LEVEL, ENCODER))


def evaluated(readings, ids):
    references = References(REGISTER, ids, date(2026, 11, 25))
    points = Points("found.csv", tuple(readings))
    (channel,) = verify(
        points, None, references, NO_LIMITS, Rule.GUARD_U_4, Setup(warmer_k=0.5)
    ).channels
    return channel


def holds(measured, truth):
    return abs(measured.value - truth) <= t_factor(0.95, measured.dof) * measured.u


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


def head_error(tilt, direction):
    """Zero 0.004, scale 0.2 %, bent by 0.006 and lagging by 0.01 deg in the middle."""
    middle = 1.0 - abs(tilt) / 5.0
    return 0.004 + 0.002 * tilt + middle * (0.006 + (0.01 if direction == "down" else 0.0))


def sine_bar_run(rng, by_reversal):
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


@pytest.mark.parametrize("by_reversal", [True, False], ids=["plate by reversal", "plate by level"])
def test_intervals_of_an_inclinometer_on_a_sine_bar_cover(by_reversal):
    rng = np.random.default_rng([20, by_reversal])
    ids = ("S", "B") if by_reversal else ("S", "B", "L")
    truth = {(n, d): head_error(n, d) for d, n in UP_AND_DOWN}
    mean = np.array([(truth[n, "up"] + truth[n, "down"]) / 2 for n in TILTS])
    bent = dict(zip(TILTS, line_through(TILTS, mean), strict=True))
    tally = Tally()
    for _ in range(RUNS):
        channel = evaluated(sine_bar_run(rng, by_reversal), ids)
        at = {str(p.at): p for p in channel.points}
        for point in channel.points:
            where = (float(point.at.nominal_deg), point.at.direction)
            tally.add(str(point.at), holds(point.budget.measured, truth[where]))
        found = {f.name: f for f in channel.figures}
        worst = at[found["max-error"].at].at
        known = truth[float(worst.nominal_deg), worst.direction]
        tally.add("max-error", holds(found["max-error"].measured, known))
        tally.add("zero", holds(found["zero"].measured, mean[1]))
        lag = float(found["hysteresis"].at.rstrip("°"))
        gap = truth[lag, "down"] - truth[lag, "up"]
        tally.add("hysteresis", holds(found["hysteresis"].measured, gap))
        middle = float(found["linearity"].at.rstrip("°"))
        tally.add("linearity", holds(found["linearity"].measured, bent[middle]))
        tally.add("cross-axis", holds(found["cross-axis"].measured, 0.2))
    tally.check()


TURNS = (0.0, 90.0, 180.0, 270.0)
TURNED = [("up", n) for n in TURNS] + [("down", n) for n in reversed(TURNS)]


def encoder_error(angle, direction):
    """Eccentric by 0.03 deg, and 0.012 deg of backlash that is greatest at 90 deg."""
    lag = 0.006 * (1.0 + math.sin(math.radians(angle))) if direction == "down" else 0.0
    return 0.03 * math.cos(math.radians(angle)) + lag


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
        for point in channel.points:
            where = (float(point.at.nominal_deg), point.at.direction)
            tally.add(str(point.at), holds(point.budget.measured, truth[where] - mean))
        found = {f.name: f for f in channel.figures}
        lag = float(found["hysteresis"].at.rstrip("°"))
        gap = truth[lag, "down"] - truth[lag, "up"]
        tally.add("hysteresis", holds(found["hysteresis"].measured, gap))
        worst = next(p.at for p in channel.points if str(p.at) == found["max-error"].at)
        known = truth[float(worst.nominal_deg), worst.direction] - mean
        tally.add("max-error", holds(found["max-error"].measured, known))
    tally.check()
    assert "zero" not in found
    assert "linearity" not in found
