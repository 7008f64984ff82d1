"""Vehicles: what follows from them, and that those that cannot be are refused with the place."""

import json

import pytest

from ingest.core.errors import ConfigError
from ingest.core.frames import Side
from ingest.geometry.corrections.wanted import Quantity
from ingest.job.vehicle.axles import Wheel
from ingest.job.vehicle.reference import line_of, reference_axle
from ingest.payload.vehicle_file import parse_vehicle
from tests.job.vehicles import SHIPPED, tables, vehicle, vehicle_of


def as_toml(found):
    """TOML of tables: inline tables are TOML too, and JSON strings, numbers and lists are."""
    return "\n".join(f"{key} = {_inline(value)}" for key, value in found.items())


def _inline(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_inline(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return json.dumps(value) if not isinstance(value, float) else repr(value)


def refusal(found):
    with pytest.raises(ConfigError) as refused:
        parse_vehicle(as_toml(found), "v.toml")
    assert "\n" not in str(refused.value)
    return str(refused.value).removeprefix("v.toml: ")


def test_a_vehicle_says_what_it_is():
    assert {name: vehicle(name).configuration for name in SHIPPED} == {
        "dolly-and-trailer": "dolly with 2 axles + trailer with 2 axles",
        "rigid-4x2": "rigid 4x2",
        "rigid-6x4": "rigid 6x4",
        "rigid-8x4": "rigid 8x4",
        "tractor-and-trailer": "tractor 4x2 + trailer with 3 axles",
    }


def test_a_file_and_its_tables_are_the_same_vehicle():
    for name, text in SHIPPED.items():
        assert parse_vehicle(text, name) == vehicle(name)
        assert parse_vehicle(as_toml(tables(name)), name) == vehicle(name)


def test_lengths_are_metres_and_angles_radians_inside():
    found = vehicle("rigid-8x4")
    second = found.axle(2)
    assert (second.behind_m, second.track_m, second.rim_m, second.tyre.diameter_m) == (
        pytest.approx((1.95, 2.04, 0.5715, 1.0))
    )
    assert (
        second.toe_diameter_m == second.rim_m
    )  # toe in mm is told at the rim where nothing is said
    assert found.axle(1).adjuster(Quantity.TOTAL_TOE).part.thread.pitches_m == pytest.approx(
        (0.0015, 0.0015)
    )
    assert found.axle(1).adjuster(Quantity.LOCK_ANGLE, Side.LEFT).part.side is Side.LEFT
    assert found.axle(1).quantities == (
        Quantity.CASTER,
        Quantity.TOTAL_TOE,
        Quantity.STEERING_WHEEL,
        Quantity.LOCK_ANGLE,
    )


def test_blocked_lines_are_seen_from_both_ends():
    found = vehicle("rigid-8x4")
    left, right = found.axle(4).wheels
    assert not found.sees(left, right)
    assert not found.sees(right, left)
    assert found.sees(*found.axle(3).wheels)
    assert found.sees(Wheel(1, Side.LEFT), Wheel(4, Side.LEFT))


def told_against(name, **axles):
    found = tables(name)
    for number, change in axles.items():
        found["axle"][int(number[1:]) - 1].update(change)
    whole = vehicle_of(found)
    return [(reference_axle(whole, unit), line_of(whole, unit)) for unit in whole.units]


HEADING = tables("rigid-4x2")["axle"][1]["axle_heading"]


def test_the_reference_is_a_drive_axle_that_cannot_be_set_or_else_the_rearmost():
    assert told_against("rigid-6x4") == [(3, (1, 3))]
    assert told_against("rigid-6x4", a3={"axle_heading": HEADING}) == [(3, (1, 3))]
    found = tables("rigid-6x4")
    found["axle"][2]["axle_heading"] = found["axle"][1].pop("axle_heading")
    whole = vehicle_of(found)
    assert reference_axle(whole, whole.units[0]) == 2
    assert line_of(whole, whole.units[0]) == (1, 2)


def test_an_axle_that_is_seized_today_cannot_be_set():
    whole = vehicle("rigid-8x4")
    assert reference_axle(whole, whole.units[0]) == 4
    assert reference_axle(whole, whole.units[0], {3}) == 3


def test_a_file_may_name_the_reference_and_the_centre_line():
    assert told_against("rigid-8x4", a3={"reference": True}) == [(3, (1, 3))]
    found = tables("rigid-8x4")
    found["unit"][0]["centre_line"] = [2, 4]
    whole = vehicle_of(found)
    assert line_of(whole, whole.units[0]) == (2, 4)


def test_a_towed_unit_is_told_against_the_line_from_its_pin():
    assert told_against("tractor-and-trailer") == [(2, (1, 2)), (4, ("P", 4))]
    # Of a trailer whose first axle can be lifted, the second; of the dolly the one that is fixed.
    assert told_against("dolly-and-trailer") == [(2, ("P", 2)), (4, ("P", 4))]


def change(name, steps, value):
    """Tables with one value changed; None takes the key out."""
    found = tables(name)
    inside = found
    *way, key = steps
    for step in way:
        inside = inside[step]
    if value is None:
        del inside[key]
    else:
        inside[key] = value
    return found


PARTS = {
    "@tie_rod": tables("rigid-4x2")["axle"][0]["total_toe"],
    "@relay_rod": tables("rigid-8x4")["axle"][1]["steer_parallelism"],
    "@wedges": tables("rigid-4x2")["axle"][0]["caster"],
}

REFUSED = """
rigid-4x2 axle.0.role "drive"
    unit van: kind = 'rigid': a motor vehicle has a steer axle
rigid-4x2 axle.1.role "tag"
    unit van: kind = 'rigid': a motor vehicle has a drive axle
rigid-8x4 axle.1.role "steer"
    axle 2: role = 'steer': the foremost axle alone is steer
rigid-8x4 axle.2.role "second_steer"
    axle 3: role = 'second_steer': there is a second
rigid-4x2 axle.1.role "trailer"
    axle 2: role = 'trailer': unit van is a rigid
rigid-4x2 axle.1.number 3
    axle 2: number = 3: axles are listed front to rear and count
rigid-4x2 axle.0.number 2
    axle 1: number = 2: axles are listed front to rear and count
rigid-4x2 axle.0.behind_m 1.0
    axle 1: behind_m = 1.0: axle 1 is what all places are
rigid-8x4 axle.2.behind_m 1.5
    axle 3: behind_m = 1.5: not behind axle 2
rigid-8x4 axle.3.behind_m 6.1
    axle 4: behind_m = 6.1: 0.9 m behind axle 3
rigid-8x4 axle.3.track_m 1.3
    axle 4: track_m = 1.3: too narrow for dual tyres
rigid-8x4 axle.3.track_m 2020.0
    axle 4: track_m = 2020.0: must be at most 3
rigid-8x4 axle.3.rim_mm 22.5
    axle 4: rim_mm = 22.5: must be at least 200
rigid-8x4 axle.3.toe_at_mm 1200.0
    axle 4: toe_at_mm = 1200.0: larger than the tyre
rigid-4x2 axle.1.total_toe "@tie_rod"
    axle 2: total_toe = 'drive': is set on second_steer or steer
rigid-4x2 axle.0.steer_parallelism "@relay_rod"
    axle 1: steer_parallelism = 'steer': is set on second_steer
rigid-4x2 axle.0.total_toe "@relay_rod"
    axle 1: total_toe.kind = 'relay_rod': choose 'tie_rod'
rigid-4x2 axle.1.axle_heading "@wedges"
    axle 2: axle_heading.kind = 'wedges': choose one of
rigid-4x2 axle.1.axle_heading.between_m 1.9
    axle 2: axle_heading.between_m = 1.9: wider than
rigid-4x2 axle.1.axle_heading.radius_mm -3
    axle 2: axle_heading.radius_mm = -3: must be at least 0.5
rigid-4x2 axle.0.total_toe.pitch_mm []
    axle 1: total_toe.pitch_mm =
rigid-4x2 axle.0.lock_angle.left.most_deg 90
    axle 1: lock_angle.left.most_deg = 90: must be at most 75
rigid-4x2 axle.0.camber {"kind": "beam_axle"}
    axle 1: camber = {'kind': 'beam_axle'}: nothing adjusts
rigid-4x2 axle.0.beam false
    axle 1: caster = 'wedges': wedges lie between spring and beam
rigid-4x2 axle.1.beam false
    axle 2: axle_heading = 'beam = false': wheels that are hung
rigid-4x2 axle.1.unit "lorry"
    axle 2: unit = 'lorry': no such unit; there are van
rigid-4x2 axle.1.trak_m 2.0
    axle 2: trak_m = 2.0: no such key here
rigid-4x2 axle.1.track_m null
    axle 2: track_m: is needed
rigid-4x2 axle.1.track_m "2"
    axle 2: track_m = '2': a number is needed
rigid-4x2 axle.1.role "driven"
    axle 2: role = 'driven': choose
rigid-4x2 axle []
    axle = []:
rigid-4x2 configuration "8x4"
    configuration = '8x4': follows from the axles
rigid-4x2 version 2
    format = {'format': 'levelhead-vehicle', 'version': 2}: not a vehicle file
tractor-and-trailer unit.1.coupling null
    unit trailer: coupling: a trailer is told against
tractor-and-trailer unit.1.coupling.kind "turntable"
    unit trailer: coupling.to = 'tractor': a turntable couples
tractor-and-trailer unit.1.coupling.to "lorry"
    unit trailer: coupling.to = 'lorry': it is drawn by the unit
tractor-and-trailer unit.1.coupling.to null
    unit trailer: coupling.to: unit tractor stands ahead
tractor-and-trailer unit.1.coupling.behind_m 10.0
    unit trailer: coupling.behind_m = 10.0: not 0.5 m ahead
tractor-and-trailer unit.1.centre_line [3, 4]
    unit trailer: centre_line = [3, 4]: a towed unit
tractor-and-trailer unit.1.kind "rigid"
    unit trailer: kind = 'rigid': a motor vehicle is the foremost
tractor-and-trailer axle.4.reference true
    axle 5: reference = True: axle 4 is the reference
tractor-and-trailer axle.0.reference true
    axle 1: reference = True: a motor vehicle goes where a drive
tractor-and-trailer axle.2.unit "tractor"
    axle 3: role = 'trailer': unit tractor is a tractor
tractor-and-trailer axle.0.unit "trailer"
    unit = ['tractor', 'trailer']: units are listed front to rear
tractor-and-trailer unit.0.id "trailer"
    unit trailer: id = 'trailer': is there twice
rigid-4x2 unit.0.centre_line [2, 1]
    unit van: centre_line = [2, 1]: it runs through two axles
rigid-4x2 unit.0.centre_line [1, 3]
    unit van: centre_line = 3: no such axle in unit van
dolly-and-trailer unit.0.coupling.kind "kingpin"
    unit dolly: coupling.kind = 'kingpin': a dolly is
rigid-4x2 blocked [{"across": 3}]
    blocked 1: wheels = 'L3': no such wheel; the vehicle has 2 axles
rigid-4x2 blocked [{"wheels": ["L1", "R2"]}]
    blocked 1: wheels = ['L1', 'R2']: no head looks that way
rigid-4x2 blocked [{"wheels": ["L1", "L1"]}]
    blocked 1: wheels = ['L1']: a line has two ends
rigid-4x2 blocked [{"wheels": ["L1", "M2"]}]
    blocked 1 =
rigid-4x2 blocked [{"by": "tank"}]
    blocked 1 =
"""
"""Vehicle, way to a key, its new value (null takes the key out); below, what is said."""


def refusals():
    lines = REFUSED.strip().splitlines()
    for row, said in zip(lines[::2], lines[1::2], strict=True):
        name, way, value = row.split(" ", 2)
        steps = [int(step) if step.isdecimal() else step for step in way.split(".")]
        found = json.loads(value)
        part = PARTS.get(found) if isinstance(found, str) else None
        yield pytest.param(name, steps, part or found, said.strip(), id=f"{name} {way} {value}")


@pytest.mark.parametrize(("name", "steps", "value", "said"), list(refusals()))
def test_a_vehicle_that_cannot_be_is_refused_with_place_and_reason(name, steps, value, said):
    assert refusal(change(name, steps, value)).startswith(said)


HEAD = "format = 'levelhead-vehicle'\nversion = 1"


@pytest.mark.parametrize("text", ["", "axle = 1", "\x00", "id = [", HEAD, f"{HEAD}\naxle = 1"])
def test_what_is_no_vehicle_file_is_one_line(text):
    with pytest.raises(ConfigError) as refused:
        parse_vehicle(text, "v.toml")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("odd", ["nan", "inf", "1979-05-27", "true", "'x'", "[]", "{}"])
def test_a_value_of_another_kind_is_refused_where_a_number_stands(odd):
    text = SHIPPED["rigid-4x2"].replace("track_m = 1.84", f"track_m = {odd}")
    with pytest.raises(ConfigError, match=r"v\.toml: axle 2: track_m = "):
        parse_vehicle(text, "v.toml")
