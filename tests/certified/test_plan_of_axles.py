"""Plan figures of axles from handbooks and standards, through ``levelhead network``'s file."""

import cmath
import json
import math

import pytest

from ingest.geometry.network.adjusting import adjust
from ingest.geometry.network.results import results
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of

INCH_M = 0.0254


def told(hub, heading_deg, *, pins=(), centre_line=None):
    """Return results, deg and mm, of exact readings between all stations (complex numbers)."""
    stations, observations = [], []
    for name, at in hub.items():
        stations.append({"id": name, "x_m": at.real, "y_m": at.imag})
        if name not in pins:
            side = "left" if name[0] == "L" else "right"
            stations[-1] |= {"axle": int(name[1]), "side": side}
    for at, a in hub.items():
        for to, b in hub.items():
            if at == to or at in pins:
                continue
            read = math.degrees(cmath.phase(b - a)) - heading_deg[at]
            line = {"at": at, "to": to}
            observations.append({"type": "direction", "sigma_deg": 0.01} | line)
            observations[-1]["angle_deg"] = math.remainder(read, 360.0)
            tape = {"type": "distance", "sigma_m": 0.001, "distance_m": abs(b - a)}
            observations.append(tape | line)
    document = {"stations": stations, "observations": observations}
    document |= {"centre_line": centre_line} if centre_line else {}
    found = results(adjust(network_of(parse_network_file(json.dumps(document)))))
    return {
        r.quantity.label: math.degrees(r.measured.value)
        if r.quantity.angular
        else r.measured.value * 1e3
        for r in found
    }


def test_thrust_of_an_axle_from_its_toes():
    # In ISO 8855 axes thrust = (toe right - toe left)/2, positive to the left, and total toe is
    # the sum: toe left +0.10, toe right -0.06 deg. (The geometrical driving axis as the bisector
    # of the total rear toe: BMW repair manual 32 00.)
    hub = {"L1": 5.0 + 1j, "R1": 5.0 - 1j, "L2": 1j, "R2": -1j}
    # Wheel heading = -side * toe.
    heading = {"L1": 0.0, "R1": 0.0, "L2": -0.10, "R2": -0.06}
    found = told(hub, heading)
    assert found["toe_deg L2"] == pytest.approx(0.10, abs=1e-7)
    assert found["toe_deg R2"] == pytest.approx(-0.06, abs=1e-7)
    assert found["thrust_deg"] == pytest.approx(-0.08, abs=1e-7)
    assert found["total_toe_deg axle 2"] == pytest.approx(0.04, abs=1e-7)


def test_a_trailer_axle_an_eighth_of_an_inch_out_of_square():
    # Trailer manuals give "0.1 deg or 1/8 in" between axle ends (handbook for Dexter axles,
    # 20558CB p. 159), which holds over 71.5 in; over 77.5 in it is 0.09241 deg.
    for width_in, angle_deg in ((71.5, 0.10017), (77.5, 0.09241)):
        half = width_in * INCH_M / 2.0
        ahead = 0.125 * INCH_M / 2.0
        hub = {"P": 7.0 + 0j, "L1": complex(ahead, half), "R1": complex(-ahead, -half)}
        turned = math.degrees(cmath.phase(hub["L1"] - hub["R1"])) - 90.0
        found = told(hub, {"L1": turned, "R1": turned}, pins=("P",), centre_line=["P", 1])
        # The left end is ahead: the axle steers to the right, and its right wheel stands behind.
        assert found["heading_deg axle 1"] == pytest.approx(-angle_deg, abs=6e-6)
        assert found["setback_deg axle 1"] == pytest.approx(angle_deg, abs=6e-6)
        assert found["total_toe_deg axle 1"] == pytest.approx(0.0, abs=1e-7)


def test_a_centre_line_three_millimetres_off_turns_the_trailer():
    # 3 mm over 7 m: 0.025 deg (model of the measurement; arc tangent).
    hub = {"P": 7.0 + 0.003j, "L1": 1j, "R1": -1j}
    found = told(hub, {"L1": 0.0, "R1": 0.0}, pins=("P",), centre_line=["P", 1])
    assert found["heading_deg axle 1"] == pytest.approx(-0.0246, abs=5e-5)


def test_scrub_is_out_of_parallel_of_two_axles():
    # TTMA RP 71 (Michelin truck tyre service manual, p. 52): axle ends of a tandem within
    # 1/16 in; over 71.5 in that is 0.05008 deg.
    half = 71.5 * INCH_M / 2.0
    ahead = 0.0625 * INCH_M / 2.0
    hub = {"P": 8.0 + 0j, "L1": 1.3 + half * 1j, "R1": 1.3 - half * 1j}
    hub |= {"L2": complex(-ahead, half), "R2": complex(ahead, -half)}
    turned = math.degrees(cmath.phase(hub["L2"] - hub["R2"])) - 90.0
    heading = {"L1": 0.0, "R1": 0.0, "L2": turned, "R2": turned}
    found = told(hub, heading, pins=("P",), centre_line=["P", 1])
    # The right end is ahead: the axle steers to the left. Scrub is told of the reference, axle 2.
    assert found["heading_deg axle 2"] == pytest.approx(0.05008, abs=6e-6)
    assert found["scrub_deg axle 1"] == pytest.approx(-0.05008, abs=6e-6)
