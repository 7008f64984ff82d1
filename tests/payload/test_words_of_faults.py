"""Every kind of file and request, broken: the words are of the file, never of a library.

What is needed is checked by hand below, not by what the program said.
"""

import json
import re
from pathlib import Path

import pytest

from calibration.errors import CalibrationError
from calibration.files.references import parse_references
from calibration.files.sheet import parse_sheet
from calibration.records.text import load_record
from calibration.study import load_study
from ingest.config import load_config
from ingest.core.errors import ConfigError, InputError
from ingest.payload.base import PayloadError
from ingest.payload.cmd import read_command
from ingest.payload.correction import parse_correction
from ingest.payload.level_file import load_level
from ingest.payload.limits_csv import parse_figures
from ingest.payload.limits_file import parse_limits
from ingest.payload.network_file import NetworkFileError, parse_network_file
from ingest.payload.vehicle_file import parse_vehicle

LIBRARY = re.compile(
    r"input should|input is|field required|extra inputs|not permitted|valid (integer|number|string"
    r"|list|tuple|dictionary|boolean)|validation|pydantic|value error|unable to|lax|union|tuple\["
    r"|should match pattern|instance of|string should|decimal input|for further|input_value|\^\[",
    re.IGNORECASE,
)
DEEP = "[" * 4000
VEHICLE = (Path("ingest/job/vehicle/examples") / "rigid-4x2.toml").read_text(encoding="utf-8")
LIMITS = (Path("ingest/store/shipped") / "general.toml").read_text(encoding="utf-8")
DATED = "issued = 2026-11-28\n"
SHEET = DATED + 'head = [{head_id = "0123456789abcdef", record_id = "cal-2026-0001"}]\n'
REGISTER = """[[reference]]
id = "KL-SINE-1"
kind = "sine-bar"
value = 200.000
unit = "mm"
U = 0.0020
k = 2
date = 2026-01-12
due = 2027-01-12
U_angle_deg = 0.0006
"""
LEVEL = {
    "format": "levelhead-level",
    "version": 1,
    "bay": "bay1",
    "measured": "2026-11-20",
    "valid_days": 180,
    "by": "Ada Brindle",
    "instrument": "KL-LEVEL-1",
    "surface": "plates",
    "points": [{"id": str(n), "x_m": n, "y_m": n * n} for n in range(3)],
}
ARMS = {
    "quantity": "axle_heading",
    "axle": 2,
    "measured_deg": 0.31,
    "u_deg": 0.02,
    "target_deg": 0.0,
    "adjuster": {"kind": "threaded_arms", "between_m": 1.0},
}
NETWORK = {
    "stations": [{"id": "a", "x_m": 0, "y_m": 0}, {"id": "b", "x_m": 1, "y_m": 0}],
    "observations": [{"type": "distance", "at": "a", "to": "b", "distance_m": 1, "sigma_m": 0.001}],
}


def with_(whole, **changes):
    return json.dumps({**whole, **changes})


def swapped(text, old, new):
    assert old in text
    return text.replace(old, new, 1)


def asked(name, **fields):
    return name, json.dumps({"id": "c-1", **fields}).encode()


BROKEN = [
    ("config", "[bay]\nnetwork = 3\n", ["bay.network = 3", "file's name", "or a list"]),
    ("config", "[bay]\nnetwork = [3]\n", ["bay.network = [3]", "file's name"]),
    ("config", "[bay]\ncross_port_m = 0.6\n", ["bay.cross_port_m", "a list is needed"]),
    ("config", "[bay]\ncross_port_m = [0.6]\n", ["bay.cross_port_m", "is needed"]),
    ("config", "[bay]\nlevl = 'a'\n", ["bay.levl", "no such key", "there are: level"]),
    ("config", "[[head]]\nbaud = 'fast'\n", ["head.0.baud", "a whole number"]),
    ("config", "[job]\ntechnicians = 'Ada'\n", ["job.technicians", "a list is needed"]),
    ("config", "[chain]\ndespike = 7\n", ["chain.despike = 7", "true or false"]),
    ("config", "[bay]\nstate_file = true\n", ["bay.state_file", "file's name"]),
    ("config", "[bay]\nlevel = 1979-05-27\n", ["bay.level", "file's name"]),
    ("config", f"a = {DEEP}\n", ["nested too deep"]),
    ("config", f"[broker]\nport = {'9' * 5000}\n", ["thousands of digits"]),
    ("sheet", SHEET + 'colour = "red"\n', ["colour", "no such key", "there are:"]),
    ("sheet", DATED + "head = 3\n", ["head", "a list is needed"]),
    ("sheet", DATED + "head = []\n", ["head", "too few; 1 at the least"]),
    (
        "sheet",
        DATED + 'head = [{head_id = "x", record_id = "cal-2026-0001"}]',
        ["head_id", "16 of 0-9"],
    ),
    ("sheet", SHEET + 'reference_degc = "warm"\n', ["reference_degc", "a number is needed"]),
    ("sheet", SHEET + "turn_deg = 0\n", ["turn_deg", "must be above 0"]),
    ("sheet", SHEET + 'setup = {a = "x"}\n', ["setup.a", "a number is needed"]),
    ("sheet", swapped(SHEET, "}", ", stub = 1.0}"), ["head.0.stub", "there are: stub_m"]),
    ("sheet", f"a = {DEEP}\n", ["nested too deep"]),
    ("register", REGISTER + 'colour = "red"\n', ["KL-SINE-1: colour", "no such key"]),
    ("register", swapped(REGISTER, "sine-bar", "sinebar"), ["kind", "choose 'bar', "]),
    ("register", swapped(REGISTER, "200.000", '"long"'), ["value", "a number is needed"]),
    ("register", swapped(REGISTER, "2026-01-12", '"January"'), ["date", "2026-11-28"]),
    ("register", swapped(REGISTER, "U = 0.0020\n", ""), ["U: is needed"]),
    ("register", swapped(REGISTER, "0.0006", "-1"), ["U_angle_deg", "must be at least 0"]),
    ("register", "reference = 3\n", ["no [[reference]] in it"]),
    ("register", "reference = [3]\n", ["an object with keys"]),
    ("register", f"a = {DEEP}\n", ["nested too deep"]),
    ("vehicle", swapped(VEHICLE, "track_m = 1.96", 'track_m = "x"'), ["axle 1: track_m", "number"]),
    ("vehicle", swapped(VEHICLE, '"tie_rod"', '"rope"'), ["total_toe.kind", "choose"]),
    ("vehicle", swapped(VEHICLE, '"steer"', '"steering"'), ["role", "choose"]),
    ("vehicle", swapped(VEHICLE, "arm_mm = 205", "arm = 205"), ["total_toe.arm", "are: arm_mm"]),
    ("vehicle", swapped(VEHICLE, "[load]", "[loaded]"), ["load"]),
    ("limits", swapped(LIMITS, '"unladen"', '"empty"'), ["limit 1.load", "choose"]),
    ("limits", swapped(LIMITS, "nominal = 0.08", "nominal = [1]"), ["limit 1.nominal", "text"]),
    ("limits", swapped(LIMITS, "version = 1", 'version = "a"'), ["version", "a whole number"]),
    ("limits", swapped(LIMITS, '"guard-u"', '"guard"'), ["rule", "choose"]),
    ("limits", f"a = {DEEP}\n", ["nested too deep"]),
    ("figures", "axle,quantity\n1,camber\n", ["load"]),
    ("level", with_(LEVEL, valid_days="long"), ["valid_days", "a whole number is needed"]),
    ("level", with_(LEVEL, measured=5), ["measured", "write the day as 2026-11-28"]),
    ("level", with_(LEVEL, points=3), ["points", "a list is needed"]),
    ("level", with_(LEVEL, surfce="x"), ["surfce", "there are: surface"]),
    ("correction", with_(ARMS, axle="two"), ["axle", "a whole number is needed"]),
    ("correction", with_(ARMS, adjuster=3), ["adjuster", "an object with keys"]),
    ("correction", with_(ARMS, quantity="wheel"), ["quantity", "choose one of"]),
    ("correction", with_(ARMS, u_deg=None), ["u_deg", "a number is needed"]),
    ("network", with_(NETWORK, stations=3), ["stations", "a list is needed"]),
    ("network", with_(NETWORK, blocked=[["a"]]), ["blocked[0]", "is needed"]),
    ("network", with_(NETWORK, reference_axle="x"), ["reference_axle", "a whole number"]),
    ("network", with_(NETWORK, centre_line=[1.5, 2]), ["centre_line[0]", "whole number", "text"]),
    ("network", with_(NETWORK, about=3), ["about", "a text is needed"]),
    ("network", with_(NETWORK, station=[]), ["station", "there are: stations"]),
    ("network", with_(NETWORK, observations=[3]), ["observations[0]", "an object with keys"]),
    ("record", '{"format": "levelhead-calibration"}', ["version None is unknown"]),
    ("record", f'{{"a": {"9" * 5000}}}', ["thousands of digits"]),
    ("study", "[]", ["not a JSON object"]),
    ("asked", asked("sweep-begin", axle="one"), ["axle", "a whole number is needed"]),
    ("asked", asked("sweep-begin"), ["axle: is needed"]),
    ("asked", asked("sweep-begin", axle=99), ["axle", "must be at most 32"]),
    ("asked", asked("job-open", vehicle="A B", limits="x", order="1"), ["vehicle", "1 to 32 of a"]),
    ("asked", asked("job-open", vehicle="a", limits="x", order=""), ["order", "too short"]),
    (
        "asked",
        asked("job-open", vehicle="a", limits="x", order="1", load="full"),
        ["load", "choose 'unladen' or 'laden'"],
    ),
    ("asked", asked("job-tape", line="here", metres=1), ["line", "not written as it has to be"]),
    ("asked", asked("wheel", head="head-1", axle=1, side="middle"), ["side", "choose"]),
    ("asked", ("sweep-begin", b"[]"), ["not a JSON object"]),
]
READERS = {
    "sheet": lambda text: parse_sheet(text, "sheet.toml"),
    "register": lambda text: parse_references(text, "references.toml"),
    "vehicle": lambda text: parse_vehicle(text, "vehicle.toml"),
    "limits": lambda text: parse_limits(text, "limits.toml"),
    "figures": lambda text: parse_figures(text, "limits.csv"),
    "level": lambda text: load_level(text, "level.json"),
    "correction": lambda text: parse_correction(text, "correction.json"),
    "network": parse_network_file,
    "record": lambda text: load_record(text, "record.json"),
    "study": lambda text: load_study(text, "study.json"),
    "asked": lambda asked: read_command(*asked),
}


@pytest.mark.parametrize(("kind", "text", "words"), BROKEN)
def test_what_is_broken_is_told_in_one_line_of_plain_words(tmp_path, kind, text, words):
    def config(text):
        path = tmp_path / "bay.toml"
        path.write_text(text, encoding="utf-8")
        load_config(path)

    refusals = (CalibrationError, ConfigError, InputError, NetworkFileError, PayloadError)
    with pytest.raises(refusals) as refused:
        (READERS | {"config": config})[kind](text)
    said = str(refused.value).replace(str(tmp_path), "")
    print(f"{kind}: {said}")
    assert "\n" not in said
    assert len(said) < 300
    assert LIBRARY.search(said) is None
    for word in words:
        assert word in said
