"""``levelhead config check``: what is wrong, where, and what is allowed, before a port opens."""

import json
import tomllib
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from ingest.cli import main
from ingest.config import load_config
from ingest.config_heads import HeadTable
from ingest.config_tables import ConfigFile
from tests.rig.levels import level_file

GOOD = """
[bay]
name = "north"
cross_line_m = 2.1

[broker]
port = 1884

[[head]]
port = "/dev/ttyUSB0"

[[head]]
port = "socket://192.0.2.7:5000"
"""


def check(capsys, tmp_path, text, *words):
    path = tmp_path / "bay.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    code = main(["config", "check", str(path), *words])
    out, err = capsys.readouterr()
    return code, out, err, path


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[head]\nport = "/dev/a"\n', "write [[head]], with two brackets"),
        ('[calibration]\nkeys = "a"\n', 'a list is needed, such as ["a", "b"]'),
        ('bay = "north"\n', "a table: its name in brackets"),
        ('[bay]\nstate_file = "/nosuch/x.db"\n', "its folder is not there"),
        ("[turn]\nnew_angle_deg = 400\n", "turn.new_angle_deg"),
        ("[bay]\ncross_line_m = 1e300\n", "bay.cross_line_m"),
    ],
)
def test_a_common_slip_is_told_in_the_words_of_the_file(capsys, tmp_path, text, said):
    code, out, err, _ = check(capsys, tmp_path, text)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def listed(capsys):
    assert main(["config", "keys"]) == 0
    return capsys.readouterr().out


def test_every_key_is_listed_with_its_default_and_its_meaning(capsys):
    out = listed(capsys)
    lines = out.splitlines()
    found = tomllib.loads("\n".join(line[2:] for line in lines if line.startswith("#|")))
    for name, table in ConfigFile.model_fields.items():
        kind = HeadTable if name == "head" else table.annotation
        told = found["head"][0] if name == "head" else found[name]
        assert set(told) == set(kind.model_fields)
        given = {key: value for key, value in told.items() if value not in ("", [])}
        default = kind() if name != "head" else kind(port=told["port"], ble=told["ble"])
        assert kind.model_validate(given) == default
    for at, line in enumerate(lines):
        if line.startswith("#|") and "=" in line:
            assert len(lines[at - 1].removeprefix("#     ")) > 10, line


def test_the_list_of_keys_is_a_file_that_sets_nothing(capsys, tmp_path):
    code, out, err, _ = check(capsys, tmp_path, listed(capsys))
    assert (code, err) == (0, "")
    assert "no [[head]] yet" in out


def test_a_usable_file_is_told_in_short(capsys, tmp_path):
    code, out, err, path = check(capsys, tmp_path, GOOD)
    assert (code, err) == (0, "")
    assert f"{path}: usable" in out
    assert "bay north" in out
    assert "clamps sit 2 mm off centre" in out
    assert "head at /dev/ttyUSB0" in out


def test_heads_are_real_until_the_file_says_otherwise(capsys, tmp_path):
    path = tmp_path / "bay.toml"
    path.write_text("[bay]\n")
    assert not load_config(path).service.bay.simulated
    _, out, _, path = check(capsys, tmp_path, "[calibration]\nsimulated = true\n")
    assert load_config(path).service.bay.simulated
    assert "the heads are simulated, and may have records marked SIMULATED" in out


def test_the_clamps_offset_of_the_file_is_the_one_that_is_used(tmp_path):
    path = tmp_path / "bay.toml"
    path.write_text("[bay]\nclamp_offset_mm = 0.5\n")
    wheel = load_config(path).service.bay.wheel
    assert wheel.clamp_offset_m == pytest.approx(0.0005)


def test_json_is_one_object(capsys, tmp_path):
    _, out, _, _ = check(capsys, tmp_path, GOOD, "--json")
    assert json.loads(out) == {
        "ok": True,
        "bay": "north",
        "broker": "embedded, loopback only",
        "links": ["/dev/ttyUSB0", "socket://192.0.2.7:5000"],
        "keys": [],
        "spread": "assumed spread of the bay",
        "study_refused": None,
        "findings": [
            {
                "text": "level: none: camber and caster are told against gravity alone, however "
                "the bay stands",
                "refused": False,
            }
        ],
    }


def test_whose_records_are_trusted_is_told(capsys, tmp_path):
    lab = Path(__file__).parents[1] / "calibration" / "records" / "version-2.pub"
    text = f"[calibration]\nkeys = ['{lab}']"
    record = json.loads(lab.with_suffix(".json").read_text(encoding="utf-8"))
    code, out, _, _ = check(capsys, tmp_path, text)
    assert code == 0
    assert f"records signed with {record['signatures'][0]['key_id']}" in out
    assert "accidents" not in out
    assert check(capsys, tmp_path, "")[1].count("their seal guards against accidents only") == 1


def test_a_private_key_among_the_public_ones_is_refused(capsys, tmp_path):
    secret = Ed25519PrivateKey.generate()
    (tmp_path / "lab").write_bytes(
        secret.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    )
    code, _, err, _ = check(capsys, tmp_path, "[calibration]\nkeys = ['lab']")
    assert code == 2
    assert err.endswith("lab: is a private key; give the public one (.pub)\n")


def test_an_empty_file_is_usable_and_says_what_is_missing(capsys, tmp_path):
    code, out, _, _ = check(capsys, tmp_path, "")
    assert code == 0
    assert "levelhead ports" in out


BAD = {
    "a key that is misspelt": ('[bay]\nnam = "x"', "bay.nam", "'x'", "there are: name"),
    "a table that is misspelt": ("[bays]\n", "bays", "{}", "there are: bay"),
    "a name that is no topic level": ('[bay]\nname = "A/B"', "bay.name", "'A/B'", "1 to 32 of a-z"),
    "a misspelt kind of port": ('[[head]]\nport = "ussb:zz"', "head.0.port", "'ussb:zz'", "usb:"),
    "a password file that is not there": (
        '[broker]\nhost = "b"\nuser = "u"\npassword_file = "nope"',
        "broker.password_file",
        "nope",
        "no such file",
    ),
    "a folder of records to be made": (
        '[bay]\nrecords_dir = "nope"',
        "bay.records_dir",
        "nope",
        "make it",
    ),
    "a public key that is not there": (
        '[calibration]\nkeys = ["lab.pub"]',
        "calibration.keys",
        "lab.pub",
        "no such file",
    ),
    "keys that are no list": ('[calibration]\nkeys = "lab.pub"', "calibration.keys", "lab.pub", ""),
    "a port beyond 65535": ("[broker]\nport = 70000", "broker.port", "70000", "65535"),
    "a word for a number": ('[broker]\nport = "x"', "broker.port", "'x'", "integer"),
    "a length of nothing": ("[bay]\ncross_line_m = 0", "bay.cross_line_m", "0", "must be above 0"),
    "an endless number": ("[bay]\ncross_line_m = inf", "bay.cross_line_m", "inf", "finite"),
    "no number": ("[turn]\nmax_u_deg = nan", "turn.max_u_deg", "nan", "finite"),
    "a negative spread": (
        "[bay]\nspread_camber_deg = -1",
        "bay.spread_camber_deg",
        "-1",
        "must be at least 0",
    ),
    "a head without a port": ("[[head]]\nbaud = 9600", "head.0.port", "", "is needed"),
    "a port named twice": (
        '[[head]]\nport = "/dev/a"\n[[head]]\nport = "/dev/a"',
        "head.1.port",
        "'/dev/a'",
        "twice",
    ),
    "a baud rate of nothing": ('[[head]]\nport = "/dev/a"\nbaud = 0', "head.0.baud", "0", "baud"),
    "a head on two links": (
        '[[head]]\nble = "head-1a2b"\nport = "/dev/a"',
        "head.0.port",
        "'/dev/a'",
        "not with ble",
    ),
    "a baud rate of a radio": (
        '[[head]]\nble = "head-1a2b"\nbaud = 9600',
        "head.0.baud",
        "9600",
        "not with ble",
    ),
    "an adapter for a cable": (
        '[[head]]\nport = "/dev/a"\nadapter = "hci0"',
        "head.0.adapter",
        "'hci0'",
        "only with ble",
    ),
    "a radio head named twice": (
        '[[head]]\nble = "Head-1A2B"\n[[head]]\nble = "head-1a2b"',
        "head.1.ble",
        "'head-1a2b'",
        "twice",
    ),
    "a radio head without a name": ('[[head]]\nble = " "', "head.0.ble", "' '", "not empty"),
    "a window without length": (
        "[chain]\nsettle_window_s = 0.01",
        "chain.settle_window_s",
        "0.01",
        "0.1 to 60 s",
    ),
    "a rate too high": ("[chain]\noutput_hz = 1e6", "chain.output_hz", "1000000.0", "Hz"),
    "times that contradict": ("[live]\nmin_s = 5", "live", "5.0", "min_s <= max_s"),
    "technicians at a broker without users": (
        '[job]\ntechnicians = ["ines"]',
        "job.technicians",
        "ines",
        "a broker of your own",
    ),
    "a user for the embedded broker": ('[broker]\nuser = "a"', "broker.user", "'a'", "host"),
    "a network that is not there": (
        '[bay]\nnetwork = "vehicle.json"',
        "bay.network",
        "vehicle.json",
        "levelhead network",
    ),
    "a folder that is not there": ('[bay]\nrecords_dir = "no"', "bay.records_dir", "no", "folder"),
    "no TOML": ("[bay\n", "file", "bay.toml", "not TOML"),
    "no text": (b"\xff\xfe\x00", "file", "bay.toml", "UTF-8"),
}


@pytest.mark.parametrize("kind", BAD)
def test_each_fault_is_one_line_with_file_key_value_and_what_is_allowed(capsys, tmp_path, kind):
    text, *says = BAD[kind]
    code, out, err, path = check(capsys, tmp_path, text)
    assert (code, out, err.count("\n")) == (2, "", 1)
    # Where there is no value none is told, least of all Python's word for nothing.
    assert err.startswith(f"levelhead config: {path}: {says[0]}{' = ' if says[1] else ': '}")
    for word in says[1:]:
        assert word in err


def test_a_missing_file_is_one_line(capsys, tmp_path):
    code = main(["config", "check", str(tmp_path / "none.toml")])
    err = capsys.readouterr().err
    assert code == 2
    assert "none.toml" in err
    assert err.count("\n") == 1


def test_serve_refuses_a_bad_file_before_any_port_is_opened(capsys, tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr("ingest.commands.serve.make_links", lambda *a: opened.append(a))
    path = tmp_path / "bay.toml"
    path.write_text(GOOD + "\n[chain]\noutput_hz = -1\n")
    assert main(["serve", str(path)]) == 2
    assert "chain.output_hz" in capsys.readouterr().err
    assert not opened


def test_the_bay_s_level_is_read_and_held_against_the_bay(capsys, tmp_path):
    level = level_file("north", "2026-11-20", 10)
    text = GOOD.replace('name = "north"', 'name = "north"\nlevel = "level.json"')
    code, _, err, path = check(capsys, tmp_path, text)
    assert code == 2
    assert "bay.level" in err
    assert "see levelhead level" in err
    (tmp_path / "level.json").write_text(json.dumps(level))
    assert check(capsys, tmp_path, text)[0] == 0
    assert load_config(path).service.bay.level.name == "level of north 2026-11-20"
    for key, value, said in (
        ("bay", "south", "is the survey of south, and this bay is north"),
        ("valid_days", 0, "valid_days"),
        ("staff", level["staff"][:2], "no chain of readings joins all points"),
    ):
        (tmp_path / "level.json").write_text(json.dumps(level | {key: value}))
        code, out, err, _ = check(capsys, tmp_path, text)
        assert (code, out, len(err.splitlines())) == (2, "", 1)
        assert said in err
