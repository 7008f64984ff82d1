"""The simulated bench: exact geometry of what is placed, against plain trigonometry."""

import math

import allantools
import numpy as np
import pytest

from ingest.core.channels import ROW, Channel
from ingest.simulator.bench.bench import NAMES, SimulatedBench
from ingest.simulator.bench.placement import on_plate
from ingest.simulator.bench.things import Repeats, draw_things
from ingest.simulator.bench.wander import Wander
from ingest.simulator.draws import draw_head

STEADY = Repeats(0.0, 0.0, 0.0, 0.0, 0.0)


def true(bench, letter="A"):
    """Return what a perfect head reads once it rests, degrees by channel."""
    row = bench.true_channels(bench.heads[letter], np.array([1e6]))[:, 0]
    return {c.value: math.degrees(row[ROW[c]]) for c in Channel if c is not Channel.TEMPERATURE}


def test_the_heads_are_those_of_the_demo():
    bench = SimulatedBench(17)
    for letter, name in NAMES.items():
        assert bench.head_id(letter) == draw_head(17, name).design.head


def test_a_stack_makes_the_angle_of_its_true_height():
    bench = SimulatedBench(3, repeats=STEADY)
    things = bench.things
    seen = {}
    for sign in ("+1", "-1"):
        bench.place("steps", {"axis": "y", "height_mm": "35", "sign": sign})
        seen[sign] = true(bench)["incl_y"]
    angle = math.degrees(math.asin(things.blocks_mm["35"] / things.sine_bar_mm))
    # Half the difference is free of the plate's own slope; a head askew reads the cosine.
    askew = math.cos(things.square_rad)
    half = math.degrees(math.asin(math.sin(math.radians(angle)) * askew))
    assert (seen["+1"] - seen["-1"]) / 2 == pytest.approx(half, abs=5e-5)
    assert (seen["+1"] + seen["-1"]) / 2 == pytest.approx(
        math.degrees(things.plates["plate"][1]), abs=2e-4
    )


def test_turned_about_the_plate_reads_the_other_way_round():
    bench = SimulatedBench(4, repeats=STEADY)
    seen = []
    for facing in ("as-marked", "turned"):
        bench.place("reversal", {"axis": "x", "facing": facing})
        seen.append(true(bench)["incl_x"])
    assert seen[0] == pytest.approx(-seen[1], abs=1e-9)
    assert abs(seen[0]) > 1e-4


def test_the_side_that_is_named_is_lifted():
    random = np.random.default_rng(1)
    things = draw_things(5)
    forward = on_plate(things, "plate", 0, 30.0, 1.0, False, random, STEADY)
    assert forward.turn[2, 0] > 0.1
    left = on_plate(things, "plate", 1, 30.0, 1.0, False, random, STEADY)
    assert left.turn[2, 1] > 0.1


def test_on_the_bar_zeros_part_from_stand_and_bend_as_they_must():
    """Mean over turned and rolled, both ways round, is free of stand, rise and swing; sag stays."""
    bench = SimulatedBench(6, repeats=STEADY)
    incl_y, azimuth = [], []
    for turned in "01":
        for rolled in "01":
            columns = {"turned": turned, "rolled": rolled, "exchanged": "0"}
            bench.place("bar", columns)
            incl_y.append(true(bench)["incl_y"])
            azimuth.append(true(bench)["azimuth_cross"])
    assert np.mean(incl_y) == pytest.approx(-math.degrees(bench.things.sag_rad), abs=2e-4)
    assert np.ptp(incl_y) > 0.01
    assert np.mean(azimuth) == pytest.approx(-90.0, abs=2e-4)


def test_a_head_that_was_put_down_swings_out():
    now = [0.0]
    bench = SimulatedBench(7, clock=lambda: now[0], repeats=STEADY)
    bench.place("steps", {"axis": "x", "height_mm": "0", "sign": "+1"})
    head = bench.heads["A"]
    early, late = bench.true_channels(head, np.array([0.0, 5.0]))[ROW[Channel.INCL_X]]
    assert abs(early - late) > 1e-6
    assert math.degrees(late) == pytest.approx(true(bench)["incl_x"], abs=1e-6)


def test_one_seed_gives_one_bench():
    one, other = SimulatedBench(8), SimulatedBench(8)
    for bench in (one, other):
        bench.place("steps", {"axis": "x", "height_mm": "10", "sign": "+1"})
    assert one.read("A") == other.read("A")
    assert SimulatedBench(9).read("A") != other.read("A")


def test_readings_are_means_of_codes_with_their_spread():
    told = SimulatedBench(10).read("A", 400)
    assert 0.001 < told["spread_deg"] < 0.02
    assert {"incl_x_deg", "incl_y_deg", "rotation_deg", "temperature_degc"} <= set(told)


def test_a_reading_is_of_a_head_at_rest():
    bench = SimulatedBench(11, repeats=STEADY, three_axis=True)
    bench.place("steps", {"axis": "y", "height_mm": "20", "sign": "+1"})
    told, seen = bench.read("A", 400), true(bench)
    errors = bench.heads["A"].sensors.tilt
    sines = np.sin(np.radians([[seen[f"incl_{axis}"]] for axis in "xyz"]))
    raw = np.degrees(np.arcsin(errors.raw(sines, np.array([20.8]))[:, 0]))
    for axis, value in zip("xyz", raw, strict=True):
        assert told[f"incl_{axis}_deg"] == pytest.approx(value, abs=6e-4)  # 4 sigma of the mean


def test_a_head_follows_the_oven_late():
    bench = SimulatedBench(12)
    bench.place("oven", {"axis": "x", "true_deg": "0"})
    assert bench.read("A")["temperature_degc"] == pytest.approx(20.8, abs=0.02)
    bench.soak(40.0, 1800.0)  # one time constant: 1 - 1/e of the way
    expected = 20.8 + 20.0 * (1 - math.exp(-1))
    assert bench.read("A")["temperature_degc"] == pytest.approx(expected, abs=0.02)


def test_the_oven_holds_the_angle_that_was_asked_for():
    bench = SimulatedBench(13, repeats=STEADY)
    seen = []
    for angle in ("-5", "5"):
        bench.place("oven", {"axis": "x", "true_deg": angle})
        seen.append(true(bench)["incl_x"])
    askew = math.cos(bench.things.square_rad)
    half = math.degrees(math.asin(math.sin(math.radians(5.0)) * askew))
    assert (seen[1] - seen[0]) / 2 == pytest.approx(half, abs=5e-5)


def test_a_head_warms_up_after_it_was_switched_on():
    bench = SimulatedBench(14)
    degc = bench.true_channels(bench.heads["A"], np.array([0.0, 900.0, 1e5]))[
        ROW[Channel.TEMPERATURE]
    ]
    assert degc == pytest.approx([20.0, 20.0 + 0.8 * (1 - math.exp(-1)), 20.8], abs=1e-9)


def test_the_wander_has_the_floor_that_it_was_given():
    """Held to another program's overlapping Allan deviation (allantools)."""
    floors = []
    for seed in range(12):
        angle = Wander(1.0, np.random.default_rng(seed)).at(np.arange(0.0, 4000.0, 0.5))
        for axis in angle:
            _, deviation, _, _ = allantools.oadev(
                axis, rate=2.0, data_type="freq", taus=[8.0, 64.0]
            )
            floors.append(deviation**2)
    assert np.sqrt(np.mean(floors, axis=0)) == pytest.approx([1.0, 1.0], rel=0.12)


def test_a_rolled_bar_lies_on_another_face_and_its_twist_is_the_same():
    bench = SimulatedBench(15, repeats=STEADY)
    across = {}
    for rolled in "01":
        seen = []
        for turned in "01":
            bench.place("bar", {"turned": turned, "rolled": rolled, "exchanged": "0"})
            seen.append(true(bench)["incl_x"])
        across[rolled] = np.mean(seen)
    faces, twist = bench.things.faces_rad, bench.things.spigots[0].twist_rad
    assert across["0"] == pytest.approx(math.degrees(twist), abs=2e-4)
    assert across["1"] == pytest.approx(math.degrees(twist - faces), abs=2e-4)
    assert abs(math.degrees(faces)) > 0.003
