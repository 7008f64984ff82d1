"""Guided series: rows alone decide what comes next, and simulated heads get through each."""

import math

import numpy as np
import pytest

from calibration.bench.bar_pair import BarPair, attitudes_of
from calibration.bench.capture import Settled
from calibration.bench.dividing_rounds import DividingRounds
from calibration.bench.full_turn import FullTurn
from calibration.bench.known_points import KnownPoints, as_before, tilt_points, turn_points
from calibration.bench.oven_round import OvenRound
from calibration.bench.procedure import kept
from calibration.bench.rows import as_csv, numbered
from calibration.bench.sine_steps import SineSteps
from calibration.bench.tumble import ATTITUDES, Tumble, raw_sines
from calibration.bench.turned_about import Reversal
from calibration.files.points_file import parse_points
from calibration.fits.bar import BarAttitude, bar_designs
from calibration.fits.tilt_sphere import fit_sphere

SIGMA = math.radians(0.003)
MATRIX = np.array([[0.99, 0.004, -0.006], [0.004, 0.993, 0.002], [-0.006, 0.002, 0.985]])
BIAS = np.radians([0.5, -0.3, 0.2])
HEAD = "00a1b2c3d4e5f607"


class Bench:
    """A head with known errors, set down where the rows' columns say."""

    def __init__(self, seed, n=100, slack_deg=0.02):
        self._rng, self._n, self._slack_deg = np.random.default_rng(seed), n, slack_deg

    def settled(self, **values):
        noise = SIGMA / math.sqrt(self._n)
        mean = {c: v + self._rng.normal(0, noise) for c, v in values.items()}
        return Settled({**mean, "temperature": 20.0}, dict.fromkeys(values, SIGMA), self._n)

    def tilted(self, up):
        raw = np.arcsin(np.clip(BIAS + MATRIX @ np.asarray(up), -1, 1))
        return {"A": self.settled(incl_x=raw[0], incl_y=raw[1], incl_z=raw[2])}

    def read(self, target):
        c = target.columns
        if "attitude" in c:
            return self.tilted(ATTITUDES[c["attitude"]])
        if "height_mm" in c:
            axis = c.get("axis") or c["channel"][-1]
            sign = float(c.get("sign") or math.copysign(1, float(c["nominal_deg"])))
            sine = sign * float(c["height_mm"]) / 200.0
            up = [sine, 0.0] if axis == "x" else [0.0, sine]
            return self.tilted([*up, math.sqrt(1 - sine**2)])
        if "facing" in c and "axis" in c:
            slope = 0.01 if c["facing"] == "as-marked" else -0.01
            return self.tilted([slope, slope, math.sqrt(1 - 2 * slope**2)])
        if "position" in c:
            true = math.radians(30.0 * (int(c["position"]) - 1)) + 0.9 * int(c["start"])
            return self.turned(true, "up")
        if "turned" in c:
            return self.on_the_bar(c)
        told = float(c.get("true_deg") or c["reference_deg"])
        return self.turned(math.radians(told), c["direction"])

    def turned(self, true, direction):
        slack = math.radians(self._slack_deg) if direction == "down" else 0.0
        raw = true + math.radians(0.3) * math.cos(true) + slack
        return {"A": self.settled(rotation=math.remainder(raw, math.tau))}

    def on_the_bar(self, c):
        t = -1 if c["turned"] == "1" else 1
        zero = {"A": 0.004, "B": -0.002}
        quarter = math.pi / 2 if c["exchanged"] == "1" else -math.pi / 2
        sees = {"A": quarter, "B": -quarter}
        return {
            h: self.settled(incl_y=z + 0.01 * t, incl_x=z + 0.003 * t, azimuth_cross=z + sees[h])
            for h, z in zero.items()
        }


SERIES = [
    Tumble(),
    SineSteps(200.0, ("5", "10", "20", "30")),
    Reversal(),
    FullTurn(u_harmonic_deg=0.02, u_zero_deg=0.02),
    DividingRounds(),
    BarPair(2.0),
]


def run(series, bench, rows=(), most=120):
    order = []
    while not series.progress(rows).enough and len(rows) < most:
        target = series.targets(rows)[0]
        order.append(target)
        rows = numbered(rows, series.taken(target, bench.read(target)))
    return rows, order


@pytest.mark.parametrize("series", SERIES, ids=lambda s: type(s).__name__)
def test_a_series_ends_with_everything_known_as_well_as_wanted(series):
    rows, _ = run(series, Bench(1))
    progress = series.progress(rows)
    assert progress.enough
    assert progress.rank == progress.full_rank > 0
    assert progress.needs
    assert all(need.met for need in progress.needs)
    assert progress.undetermined == ()


@pytest.mark.parametrize("series", SERIES, ids=lambda s: type(s).__name__)
def test_what_comes_next_follows_from_the_rows_alone(series):
    rows, order = run(series, Bench(2))
    step = len(rows) // len(order)
    for i in (0, 1, len(order) // 2, len(order) - 1):
        assert series.targets(rows[: i * step])[0] == order[i]


@pytest.mark.parametrize("series", SERIES, ids=lambda s: type(s).__name__)
def test_a_series_that_has_hardly_begun_is_not_usable_and_says_so(series):
    rows, _ = run(series, Bench(3), most=2)
    progress = series.progress(rows)
    assert not progress.usable
    assert progress.taken < progress.least
    assert not progress.enough


@pytest.mark.parametrize("series", SERIES, ids=lambda s: type(s).__name__)
def test_every_target_says_what_to_do_and_why(series):
    for rows in ((), run(series, Bench(4))[0]):
        for target in series.targets(rows):
            assert target.name
            assert target.why
            assert target.do
            assert max(map(len, (*target.do, *target.cautions, target.why))) <= 110


def test_the_suggested_attitude_lowers_the_uncertainty_more_than_any_other():
    series = Tumble(most=24)
    for seed in range(3):
        rows, _ = run(series, Bench(seed), most=9)
        sums = []
        for target in series.targets(rows):
            more = numbered(rows, series.taken(target, Bench(99).read(target)))
            fit = fit_sphere(raw_sines(more), sigma=1e-4)
            sums.append(np.trace(fit.covariance))
        assert sums[0] <= min(sums) * 1.001


def test_a_sphere_of_flat_attitudes_says_what_is_wrong():
    series, bench = Tumble(), Bench(5)
    rows = ()
    for _ in range(7):
        rows = numbered(rows, series.taken(series.targets(())[0], bench.tilted([0, 0, 1])))
    progress = series.progress(rows)
    assert "do not span" in progress.trouble
    assert not progress.usable


def test_the_bar_asks_for_two_people_and_for_care_where_heads_come_off():
    series = BarPair(2.0)
    rows, _ = run(series, Bench(6), most=2)
    for target in series.targets(rows):
        cautions = " ".join(target.cautions)
        assert "two people" in cautions
        assert ("heads off" in cautions) == (target.columns["rolled"] == "1")
        assert ("spigot" in cautions) == (target.columns["exchanged"] == "1")


def test_the_sine_plate_is_to_be_clamped():
    for target in SineSteps(200.0, ("10",)).targets(()):
        assert "Clamp the sine plate" in " ".join(target.cautions)


def test_the_bar_not_turned_leaves_the_stand_open_by_name():
    series, bench = BarPair(2.0), Bench(7)
    rows = ()
    for flags in (("0", "0"), ("1", "0"), ("0", "1"), ("1", "1")):
        columns = dict(zip(("rolled", "exchanged"), flags, strict=True), turned="0")
        target = next(t for t in series.targets(rows) if t.columns["turned"] == "0")
        rows = numbered(
            rows,
            [{**row, **columns} for row in series.taken(target, bench.on_the_bar(columns))],
        )
    progress = series.progress(rows)
    assert not progress.usable
    assert "incl_y zero A" in progress.undetermined
    assert "incl_y stand" in progress.undetermined


def test_backlash_is_open_until_positions_were_read_from_both_sides():
    series = FullTurn()
    rows, _ = run(series, Bench(8), most=12)
    assert "backlash" in series.progress(rows).undetermined
    rows, order = run(series, Bench(8), rows, most=15)
    assert "backlash" not in series.progress(rows).undetermined
    assert {t.columns["direction"] for t in order} == {"down"}


def test_a_turn_leaves_rows_of_other_channels_to_their_own_series():
    series = FullTurn("steer")
    assert series.owns({"channel": "steer"})
    assert not series.owns({"channel": "rotation"})


def test_where_backlash_alone_is_open_a_position_between_is_read_both_ways():
    series = FullTurn(u_harmonic_deg=0.02, u_zero_deg=0.02)
    rows, _ = run(series, Bench(12, slack_deg=0.0))
    # Between the u that the zero has and the u that the backlash has.
    needs = {need.name: need.u for need in series.progress(rows).needs}
    limit = math.sqrt(needs["zero"] * needs["backlash"])
    assert needs["zero"] < limit < needs["backlash"]
    finer = FullTurn(u_harmonic_deg=0.02, u_zero_deg=limit)
    rising = finer.targets(rows)[0]
    assert (rising.columns["direction"], rising.why.split(",")[0]) == (
        "up",
        "of the positions between",
    )
    rows = numbered(rows, finer.taken(rising, Bench(13).read(rising)))
    falling = finer.targets(rows)[0]
    assert falling.columns["direction"] == "down"
    assert falling.columns["true_deg"] == rising.columns["true_deg"]


def oven_rows(series, degc, rows=()):
    while not series.progress(rows).enough and len(rows) < 8:
        target = series.targets(rows)[0]
        up = (0.0, 0.0, 1.0)
        (own,) = Bench(14).tilted(up).values()
        own.mean["temperature"] = degc
        rows = numbered(rows, series.taken(target, {"A": own}))
    return rows


def test_a_soak_reads_both_axes_level_and_raised_and_a_row_taken_back_again():
    series = OvenRound(35.0, 200.0, "25")
    rows = oven_rows(series, 35.8)
    asked = [(row["axis"], row["true_deg"], row["soak_degc"]) for row in rows]
    raised = f"{math.degrees(math.asin(25 / 200)):.6f}"
    assert asked == [(a, angle, "35") for a in "xy" for angle in ("0.000000", raised)]
    assert series.targets((rows[0], *rows[2:]))[0].columns["true_deg"] == raised
    assert not OvenRound(5.0).owns(rows[0])
    assert [row["true_deg"] for row in oven_rows(OvenRound(35.0), 35.8)] == ["0.000000"] * 2
    for target in series.targets(()):
        assert "Gloves" in " ".join(target.cautions)


@pytest.mark.parametrize(("degc", "told"), [(20.8, "20.8 °C"), (math.nan, "no temperature")])
def test_a_head_that_was_not_soaked_through_is_told(degc, told):
    series = OvenRound(35.0, 200.0, "25")
    progress = series.progress(oven_rows(series, degc))
    assert f"row 1 says {told}, and the oven is at 35 °C" in progress.trouble
    assert not progress.usable


POINTS = KnownPoints(
    "found.csv", "As found", tilt_points("incl_y", 200.0, ("10", "10+7.43")) + turn_points("steer")
)


def points_rows(plan):
    rows, bench = (), Bench(9)
    while not plan.progress(rows).enough:
        target = plan.targets(rows)[0]
        reading = bench.read(target)
        if target.columns["channel"] == "steer":
            (a,) = reading.values()
            reading = {"A": Settled({"steer": a.mean["rotation"]}, {"steer": SIGMA}, 5)}
        rows = numbered(rows, plan.taken(target, reading))
    return rows


def test_points_as_taken_are_read_as_a_whole_verification():
    rows = points_rows(POINTS)
    points = parse_points(as_csv(rows), "found.csv", HEAD)
    assert points.channels == ("incl_y", "steer")
    assert len(points.readings) == len(rows) == len(POINTS.plan)
    assert {r.facing for r in points.of("incl_y")} == {"as-marked", "turned"}
    assert {r.nominal_deg == 0 for r in points.readings if r.facing == "turned"} == {True}


def test_as_left_repeats_the_points_as_found():
    rows = points_rows(POINTS)
    left = as_before(POINTS, rows, "left.csv", "As left")
    again = points_rows(left)
    keys = ("channel", "nominal_deg", "direction", "repeat", "facing", "height_mm")
    assert [[r[k] for k in keys if k in r] for r in rows] == [
        [r[k] for k in keys if k in r] for r in again
    ]


def test_withdrawn_rows_do_not_count():
    rows, _ = run(Tumble(), Bench(10), most=5)
    marked = (*rows[:-1], {**rows[-1], "withdrawn": "1"})
    assert kept(marked) == rows[:-1]


def test_a_file_has_its_row_first_and_a_cell_for_every_column():
    text = as_csv(numbered((), [{"a": "1", "time": "t"}, {"a": "x,y", "b": "2"}]))
    assert text == 'row,a,b,time\n1,1,,t\n2,"x,y",2,\n'


def test_the_suggested_attitude_of_the_bar_tells_more_than_any_other():
    series = BarPair(2.0)
    rows = ()
    for _ in range(6):
        taken = attitudes_of(rows)
        offered = series.targets(rows)
        told = []
        for target in offered:
            flags = (target.columns[f] == "1" for f in ("turned", "rolled", "exchanged"))
            designs = bar_designs([*taken, BarAttitude(*flags)], 2.0)
            # Azimuth's last column is a port in metres: as an angle it is over the bar's length.
            designs[2][:, -1] *= 2.0
            spreads = [
                np.trace(np.linalg.inv(d.T @ d + 1e-8 * np.eye(d.shape[1]))) for d in designs
            ]
            told.append(sum(spreads))
        if taken:
            assert told[0] <= min(told) * (1 + 1e-9)
        rows = numbered(rows, series.taken(offered[0], Bench(11).read(offered[0])))


def test_as_left_does_not_foretell_what_the_reference_will_read():
    rows = [dict(row) for row in points_rows(POINTS)]
    rows[-1]["reference_deg"] = "0.123000"
    left = as_before(POINTS, rows, "left.csv", "As left")
    assert left.plan[-1].columns["reference_deg"] == "0.000000"
    assert left.plan[0].columns["nominal_deg"] == rows[0]["nominal_deg"]
