"""The adjustment against SciPy's general solver, and against what a free datum must be."""

import json
import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from calibration.measured import covariance
from ingest.geometry.network.adjusting import adjust
from ingest.geometry.network.forms import Unknown
from ingest.geometry.network.judging import judge
from ingest.geometry.network.observing import observing
from ingest.geometry.network.quantities import quantities
from ingest.geometry.network.results import results
from ingest.geometry.network.unknowns import start_of, unknowns_of
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of

DEG = math.pi / 180.0


def network_from(document):
    return network_of(parse_network_file(json.dumps(document)))


def by_label(adjusted):
    return {result.quantity.label: result.measured for result in results(adjusted)}


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_agrees_with_a_general_solver(drawn_vehicle, whitened, seed):
    rig = drawn_vehicle(seed)
    model = whitened(rig.document)
    theirs = least_squares(model, model.start, method="trf", xtol=1e-15, ftol=1e-15, gtol=1e-12)
    adjusted = adjust(network_from(rig.document))
    ours = judge(adjusted, ())
    assert ours.chi2 == pytest.approx(2.0 * theirs.cost, rel=1e-6, abs=1e-9)
    assert ours.dof == len(theirs.fun) - np.linalg.matrix_rank(theirs.jac, tol=1e-3)
    m = len(ours.checked)
    found = np.array([row.residual for row in ours.checked]) / adjusted.sigma[:m]
    own = theirs.fun[: len(adjusted.rows)]
    assert found[: len(own)] == pytest.approx(own, abs=1e-4)


def test_uncertainty_is_that_of_repeated_measurement(drawn_vehicle):
    # The law of propagation against the scatter of 200 adjustments of readings drawn anew.
    rig = drawn_vehicle(3)
    rng = np.random.default_rng(5)
    exact = adjust(network_from(rig.document))
    drawn = {}
    for _ in range(200):
        document = json.loads(json.dumps(rig.document))
        zeros = {s: rng.normal(0.0, 0.02) for s in rig.truth.zero}
        for station in document["stations"]:
            if "side" in station:
                station["zero_sigma_deg"] = 0.02
        for entry in document["observations"]:
            if "angle_deg" in entry:
                off = zeros[entry["at"]] if entry["type"] == "direction" else 0.0
                entry["angle_deg"] += off + rng.normal(0.0, entry["sigma_deg"])
            else:
                entry["distance_m"] += rng.normal(0.0, entry["sigma_m"])
        adjusted = adjust(network_from(document))
        for label, value in by_label(adjusted).items():
            drawn.setdefault(label, []).append(value)
    assert exact.rows == adjusted.rows
    for label, values in drawn.items():
        if values[0].parts:
            spread = np.std([value.value for value in values], ddof=1)
            # Relative scatter of a standard deviation of 200: 5 %, here 3.5 of that.
            assert spread == pytest.approx(values[0].u, rel=0.175), label


def test_slopes_are_those_of_finite_differences(drawn_vehicle):
    network = network_from(drawn_vehicle(17).document)
    unknowns = unknowns_of(network)
    seen = observing(network, unknowns, network.readings)
    rng = np.random.default_rng(1)
    state = start_of(network, unknowns) + 0.02 * rng.standard_normal(len(unknowns.free))
    _, slopes = seen.predict(state)
    for i in range(len(state)):
        step = np.zeros(len(state))
        step[i] = 1e-6
        numeric = (seen.predict(state + step)[0] - seen.predict(state - step)[0]) / 2e-6
        assert slopes[:, i] == pytest.approx(numeric, abs=2e-8)


def test_slopes_of_results_are_those_of_finite_differences(drawn_vehicle):

    network = network_from(drawn_vehicle(17).document)
    unknowns = unknowns_of(network)
    state = start_of(network, unknowns)
    told = quantities(network, Unknown(unknowns, state))
    for i in range(3 * unknowns.count):
        step = np.zeros(len(state))
        step[i] = 1e-6
        after = quantities(network, Unknown(unknowns, state + step))
        before = quantities(network, Unknown(unknowns, state - step))
        for q, a, b in zip(told, after, before, strict=True):
            numeric = (a.form.value - b.form.value) / 2e-6
            assert q.form.slope[i] == pytest.approx(numeric, abs=1e-7), q.label


def test_a_free_datum_changes_coordinates_least(four_heads):
    # Inner constraints (Meissl 1962): no net shift and no net turn of the given positions.
    document = four_heads()
    for station in document["stations"]:
        station["x_m"] += 0.013 * len(station["id"]) + (0.02 if station["id"] == "L1" else 0.0)
    adjusted = adjust(network_from(document))
    given = np.array([(s["x_m"], s["y_m"]) for s in document["stations"]])
    found = adjusted.state[: given.size].reshape(-1, 2)
    moved = found - given
    about = given - given.mean(axis=0)
    assert moved.sum(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)
    turn = (about[:, 0] * moved[:, 1] - about[:, 1] * moved[:, 0]).sum()
    assert turn == pytest.approx(0.0, abs=1e-6)


def test_the_covariance_of_a_free_network_is_the_pseudo_inverse():
    # Distances alone: with the inner constraints the covariance is the Moore-Penrose inverse of
    # the normal matrix (Koch, Parameter Estimation; Ghilani, chapter on free networks).
    corners = [(0.0, 0.0), (4.0, 0.5), (5.0, 3.0), (1.0, 4.0)]
    stations = [{"id": str(i), "x_m": x, "y_m": y} for i, (x, y) in enumerate(corners)]
    pairs = [(i, j) for i in range(4) for j in range(i + 1, 4)]
    tapes = [
        {"type": "distance", "at": str(i), "to": str(j), "sigma_m": 0.003}
        | {"distance_m": math.dist(corners[i], corners[j])}
        for i, j in pairs
    ]
    adjusted = adjust(network_from({"stations": stations, "observations": tapes}))
    rows = np.zeros((len(pairs), 8))
    for row, (i, j) in zip(rows, pairs, strict=True):
        unit = np.subtract(corners[j], corners[i]) / math.dist(corners[i], corners[j])
        row[2 * i : 2 * i + 2], row[2 * j : 2 * j + 2] = -unit, unit
    theirs = np.linalg.pinv(rows.T @ rows / 0.003**2, rcond=1e-10)
    assert adjusted.covariance[:8, :8] == pytest.approx(theirs, abs=1e-12)


def test_results_do_not_hang_on_the_datum(drawn_vehicle):
    rig = drawn_vehicle(8)
    free = by_label(adjust(network_from(rig.document)))
    fixed = json.loads(json.dumps(rig.document))
    fixed["stations"][0]["fixed"] = True
    fixed["observations"].append(
        {"type": "azimuth", "at": fixed["stations"][0]["id"], "to": fixed["stations"][2]["id"]}
        | {"angle_deg": 180.0, "sigma_deg": 0.001}
    )
    held = by_label(adjust(network_from(fixed)))
    for label, value in free.items():
        assert held[label].value == pytest.approx(value.value, abs=1e-9), label
        assert held[label].u == pytest.approx(value.u, rel=1e-6, abs=1e-12), label


def test_results_are_correlated_as_their_definitions_say(drawn_vehicle):
    told = by_label(adjust(network_from(drawn_vehicle(8).document)))
    heading, reference = told["heading_deg axle 1"], told["thrust_deg"]
    scrub = told["scrub_deg axle 1"]
    assert (heading - reference).u == pytest.approx(scrub.u, rel=1e-9)
    left, right = told["toe_deg L1"], told["toe_deg R1"]
    assert (left + right).u == pytest.approx(told["total_toe_deg axle 1"].u, rel=1e-9)
    assert covariance([scrub, heading])[0, 0] == pytest.approx(scrub.u**2)


def test_published_figures_of_a_four_head_network(four_heads):
    # Wheelbase 5.2 m, sigma 0.01 deg, 8 sightlines, 4 tapes: closed forms of the model (own
    # figures, worked out before the program was written).
    def u_deg(label, **how):
        return by_label(adjust(network_from(four_heads(**how))))[label].u / DEG

    assert u_deg("total_toe_deg axle 2") == pytest.approx(0.0122, abs=5e-5)
    assert u_deg("thrust_deg") == pytest.approx(0.0071, abs=5e-5)
    assert u_deg("total_toe_deg axle 2", rear_cross=False) == pytest.approx(0.0240, abs=5e-5)
    # A zero of 0.02 deg on each head: 0.020 on its toe, 0.028 on total toe, 0.014 on thrust.
    zero = by_label(adjust(network_from(four_heads(zero_deg=0.02))))
    assert zero["toe_deg L1"].u_shared / DEG == pytest.approx(0.020, abs=2e-4)
    assert zero["total_toe_deg axle 1"].u_shared / DEG == pytest.approx(0.0283, abs=2e-4)
    assert zero["thrust_deg"].u_shared / DEG == pytest.approx(0.0141, abs=2e-4)


def test_a_zero_that_is_off_shows_in_nothing_but_the_result(four_heads):
    document = four_heads(zero_deg=0.02)
    for entry in document["observations"]:
        if entry["type"] == "direction" and entry["at"] == "L1":
            entry["angle_deg"] += 0.02
    adjusted = adjust(network_from(document))
    assert judge(adjusted, ()).chi2 == pytest.approx(0.0, abs=1e-6)
    assert by_label(adjusted)["toe_deg L1"].value / DEG == pytest.approx(0.02, abs=1e-6)


def test_ports_that_are_left_out_turn_the_vehicle(four_heads):
    # 0.6 m ahead of the hub at headings of 0.3 deg: 0.030 deg rms of thrust (own figure, from a
    # trial before the program was written).
    rng = np.random.default_rng(4)
    off = []
    for _ in range(60):
        document = four_heads(heading_deg=rng.normal(0.0, 0.3, 4), port=(0.6, 0.3))
        bare = json.loads(json.dumps(document))
        for entry in bare["observations"]:
            entry.pop("at_port_m", None)
            entry.pop("to_port_m", None)
        with_ports = by_label(adjust(network_from(document)))["thrust_deg"]
        without = by_label(adjust(network_from(bare)))["thrust_deg"]
        off.append((without.value - with_ports.value) / DEG)
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(0.030, rel=0.3)


def test_a_head_that_sits_two_millimetres_out_turns_the_vehicle(four_heads):
    # 2 mm between the sides: 0.011 deg of thrust over 5.2 m (half of the arc tangent).
    document = four_heads(port=(0.0, 0.3), sigma_m=0.0005)
    for station in document["stations"]:
        station["seat_sigma_m"] = 0.002
    off = math.degrees(math.atan(0.002 / 5.2))
    for entry in document["observations"]:
        if entry["type"] == "direction" and {entry["at"], entry["to"]} == {"L1", "L2"}:
            entry["angle_deg"] += off
    told = by_label(adjust(network_from(document)))
    exact = json.loads(json.dumps(document))
    for station in exact["stations"]:
        station["seat_sigma_m"] = 0.0
    assert by_label(adjust(network_from(exact)))["thrust_deg"].value / DEG == pytest.approx(
        -0.011, abs=2e-4
    )
    # Four heads that sit 2 mm off each, and independently: twice that.
    assert told["thrust_deg"].u_shared / DEG == pytest.approx(0.022, abs=4e-4)


def test_the_frame_rule_of_a_turned_vehicle(drawn_vehicle):
    # No result may change when the whole vehicle is turned and moved in plan.
    rig = drawn_vehicle(12)
    turned = json.loads(json.dumps(rig.document))
    for station in turned["stations"]:
        at = complex(station["x_m"], station["y_m"]) * complex(math.cos(0.3), math.sin(0.3))
        station["x_m"], station["y_m"] = at.real + 7.0, at.imag - 2.0
    one = by_label(adjust(network_from(rig.document)))
    other = by_label(adjust(network_from(turned)))
    for label, value in one.items():
        assert other[label].value == pytest.approx(value.value, abs=1e-9), label


def test_heights_count_in_distances(four_heads):
    # A tape from a hub to one 0.4 m higher, 5.2 m along: hypotenuse by Pythagoras.
    document = four_heads()
    for station in document["stations"]:
        station["z_m"] = 0.4 if station["axle"] == 1 else 0.0
    for entry in document["observations"]:
        if entry["type"] == "distance" and entry["at"][1] != entry["to"][1]:
            entry["distance_m"] = math.hypot(5.2, 0.4)
    adjusted = adjust(network_from(document))
    assert judge(adjusted, ()).chi2 == pytest.approx(0.0, abs=1e-9)
    wheelbase = adjusted.state[0] - adjusted.state[4]
    assert wheelbase == pytest.approx(5.2, abs=1e-6)


def test_a_start_a_metre_off_ends_at_the_same_place(drawn_vehicle):
    rig = drawn_vehicle(30)
    far = json.loads(json.dumps(rig.document))
    rng = np.random.default_rng(2)
    for station in far["stations"]:
        station["x_m"] += rng.uniform(-0.4, 0.4)
        station["y_m"] += rng.uniform(-0.4, 0.4)
    one = by_label(adjust(network_from(rig.document)))
    other = by_label(adjust(network_from(far)))
    for label, value in one.items():
        assert other[label].value == pytest.approx(value.value, abs=1e-9), label


def test_direction_sets_at_pins_are_counted_from_a_zero_of_their_own():
    # A resection by one set of directions, its circle turned by 77 deg, as surveyors read it:
    # the place is that of the same rays read as angles.
    corners = {"P": (0.0, 40.0), "Q": (35.0, 25.0), "R": (30.0, -20.0), "S": (-25.0, -30.0)}
    stations = [{"id": s, "x_m": x, "y_m": y, "fixed": True} for s, (x, y) in corners.items()]
    stations.append({"id": "U", "x_m": 1.5, "y_m": 1.0})
    rays = {s: math.degrees(math.atan2(y - 2.0, x - 1.0)) for s, (x, y) in corners.items()}
    line = {"type": "direction", "at": "U", "sigma_deg": 0.002}
    directions = [
        line | {"to": s, "angle_deg": math.remainder(ray + 77.0, 360.0)} for s, ray in rays.items()
    ]
    adjusted = adjust(network_from({"stations": stations, "observations": directions}))
    at = adjusted.unknowns.x("U")
    assert adjusted.state[at : at + 2] == pytest.approx([1.0, 2.0], abs=1e-9)
    assert adjusted.dof == 4 - 3
    turned = json.loads(json.dumps(directions))
    for entry in turned:
        entry["angle_deg"] = math.remainder(entry["angle_deg"] - 133.0, 360.0)
    again = adjust(network_from({"stations": stations, "observations": turned}))
    assert again.covariance[at : at + 2, at : at + 2] == pytest.approx(
        adjusted.covariance[at : at + 2, at : at + 2], rel=1e-9
    )


def test_an_angle_is_free_of_the_zero_of_its_head(four_heads):
    document = four_heads(zero_deg=0.02, diagonals=True)
    angle = {"type": "angle", "at": "L1", "from": "R1", "to": "L2", "sigma_deg": 0.014}
    angles = [angle | {"angle_deg": -90.0}]
    spoilt = document | {"observations": document["observations"] + angles}
    off = json.loads(json.dumps(spoilt))
    for entry in off["observations"]:
        if entry["type"] == "direction" and entry["at"] == "L1":
            entry["angle_deg"] += 0.02
    one, other = adjust(network_from(spoilt)), adjust(network_from(off))
    assert judge(other, ()).chi2 == pytest.approx(judge(one, ()).chi2, abs=1e-6)
    assert other.misfit[len(other.rows) - 1] == pytest.approx(0.0, abs=1e-6)
