"""Network files whose sightlines heads read: what they must name, and what they must not."""

import json
import math

import pytest

from ingest.cli import main
from ingest.core.channels import Channel
from ingest.payload.network_file import NetworkFileError, parse_network_file
from ingest.payload.network_live import live_network_of, refuse_shared_wheels

STATIONS = [
    {"id": "L1", "x_m": 5.2, "y_m": 1.02, "axle": 1, "side": "left"},
    {"id": "R1", "x_m": 5.2, "y_m": -1.02, "axle": 1, "side": "right"},
    {"id": "P", "x_m": 0.0, "y_m": 0.0},
]
ACROSS = {
    "type": "direction",
    "at": "L1",
    "to": "R1",
    "channel": "azimuth_cross",
    "sigma_deg": 0.01,
}
TAPE = {"type": "distance", "at": "L1", "to": "R1", "distance_m": 2.04, "sigma_m": 0.005}


def file_of(*observations, **more):
    document = {"stations": STATIONS, "observations": list(observations)} | more
    return parse_network_file(json.dumps(document))


def test_a_channel_waits_to_be_read_and_a_tape_is_read():
    live = live_network_of(file_of(ACROSS, TAPE))
    assert live.channels == {0: Channel.AZIMUTH_CROSS}
    sightline, tape = live.network.readings
    assert (sightline.used, sightline.value) == (False, None)
    assert (tape.used, tape.value) == (True, 2.04)


BAD = {
    "no channel at all": ([TAPE], {}, "none names a channel"),
    "a channel at a pin": ([{**ACROSS, "to": "P"}], {}, "P is a pin"),
    "a tape that nobody read": (
        [ACROSS, {k: v for k, v in TAPE.items() if k != "distance_m"}],
        {},
        "observations[1]: no value",
    ),
    "set-ups by hand": (
        [{**ACROSS, "setup": "a"}],
        {"setups": [{"id": "a"}]},
        "heads make their own",
    ),
    "a tape in mm": ([ACROSS, {**TAPE, "distance_m": 2040.0}], {}, "is it in mm"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_heads_cannot_fill_is_refused_in_one_line(kind):
    observations, more, says = BAD[kind]
    with pytest.raises(NetworkFileError, match=says.replace("[", r"\[")) as refused:
        live_network_of(file_of(*observations, **more))
    assert "\n" not in str(refused.value)


def test_a_wheel_is_in_one_network():
    with pytest.raises(NetworkFileError, match="axle 1 left is in another file"):
        refuse_shared_wheels([file_of(ACROSS), file_of(ACROSS)])


def test_the_same_file_serves_the_design(capsys, tmp_path):
    rear = [{**s, "id": f"{s['id'][0]}2", "x_m": 0.0, "axle": 2} for s in STATIONS[:2]]
    pairs = [("L1", "R1", "cross"), ("L2", "R2", "cross"), ("L1", "L2", "track")]
    pairs += [(to, at, kind) for at, to, kind in pairs]
    lines = [{**ACROSS, "at": a, "to": b, "channel": f"azimuth_{k}"} for a, b, k in pairs]
    document = {"stations": STATIONS[:2] + rear, "observations": [*lines, TAPE]}
    live_network_of(parse_network_file(json.dumps(document)))
    path = tmp_path / "vehicle.json"
    path.write_text(json.dumps(document))
    assert main(["network", str(path), "--design", "--json"]) == 0
    front, rear_axle = json.loads(capsys.readouterr().out)["axles"]
    # Right less left along one line, each to 0.01 deg.
    assert front["u_total_toe_deg"] == pytest.approx(0.01 * math.sqrt(2.0), rel=0.05)
    assert rear_axle["u_total_toe_deg"] == pytest.approx(0.01 * math.sqrt(2.0), rel=0.05)
