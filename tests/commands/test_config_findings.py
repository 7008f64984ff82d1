"""``levelhead config check`` opens all that the service stands on, and judges it as that does."""

import json
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.keys import public_pem
from calibration.records.signatures import sign
from calibration.records.text import dump_record, load_record
from ingest.cli import main
from ingest.commands.bay_opening import open_bay
from ingest.config import load_config
from ingest.store.database import open_database
from tests.rig.levels import level_file

KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-2.json"
WHOLE = load_record(KEPT.read_text(encoding="utf-8"))
KEY = Ed25519PrivateKey.from_private_bytes(bytes(32))
TODAY = date.today()
NETWORK = {
    "stations": [
        {"id": f"{side[0].upper()}{axle}", "axle": axle, "side": side, "x_m": 4.0 - 4.0 * axle}
        | {"y_m": 1.0 if side == "left" else -1.0}
        for axle in (0 + 1, 2)
        for side in ("left", "right")
    ],
    "observations": [
        {"type": "direction", "at": "L1", "to": "R1", "channel": "azimuth_cross"}
        | {"sigma_deg": 0.003}
    ],
}


def record(days_ago=30, decision="pass", valid_days=365):
    on = TODAY - timedelta(days=days_ago)
    verdict = WHOLE.as_left.verdicts[0].model_copy(update={"decision": decision})
    run = WHOLE.as_left.model_copy(update={"performed": on, "verdicts": (verdict,)})
    valid = {"issued": on - timedelta(days=100), "due": on + timedelta(days=300)}
    made = WHOLE.revised(
        **dict.fromkeys(("issued", "performed_from", "performed_to"), on),
        received=None,
        due=on + timedelta(days=valid_days),
        previous=None,
        coefficients_before=None,
        adjusted=False,
        as_found=run,
        as_left=None,
        references=tuple(each.model_copy(update=valid) for each in WHOLE.references),
    )
    return dump_record(sign(made, KEY))


@pytest.fixture
def bay(tmp_path, capsys):
    """Return what checks a configuration beside which files lie; all keys are named."""
    (tmp_path / "lab.pub").write_bytes(public_pem(KEY.public_key()))
    (tmp_path / "records").mkdir()
    (tmp_path / "bay.toml").write_text(
        '[bay]\nrecords_dir = "records"\nlevel = "level.json"\nnetwork = "network.json"\n'
        '[calibration]\nkeys = ["lab.pub"]\n'
    )
    (tmp_path / "records" / "a.json").write_text(record())
    level = level_file("bay1", (TODAY - timedelta(days=1)).isoformat(), 180)
    (tmp_path / "level.json").write_text(json.dumps(level))
    (tmp_path / "network.json").write_text(json.dumps(NETWORK))

    def check(*words):
        before = sorted(tmp_path.rglob("*"))
        code = main(["config", "check", str(tmp_path / "bay.toml"), *words])
        out, err = capsys.readouterr()
        assert sorted(tmp_path.rglob("*")) == before, "a check makes no file"
        return code, out, err

    check.folder = tmp_path
    return check


def test_a_sound_record_is_named_with_its_verdict(bay):
    code, out, err = bay()
    assert (code, err) == (0, "")
    assert f"head {WHOLE.head_id}: {WHOLE.record_id} is used (verified, pass, due " in out
    assert "level: level of bay1 " in out
    # One sightline across an axle ties nothing to the other axle.
    assert "network network.json: " in out
    assert "not determined" in out or "determine nothing" in out


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        (record().replace('"0.', '"1.', 1), 2, "altered after it was sealed"),
        (
            record(decision="fail"),
            0,
            "fails its class (workshop head, 0.02 deg); its results are marked record-failed",
        ),
        (record(valid_days=5), 0, "its results are marked overdue"),
        (record(days_ago=-200), 0, "one of the two is wrong; put it right"),
        ("[", 2, "unreadable JSON"),
    ],
)
def test_a_record_is_judged_as_the_service_judges_it(bay, text, code, says):
    (bay.folder / "records" / "a.json").write_text(text)
    found, out, err = bay()
    assert (found, err) == (code, "")
    (line,) = {line for line in out.splitlines() if says in line and "head " in line} or {
        line for line in out.splitlines() if says in line
    }
    assert (code == 2) == ("REFUSED: " in line)
    assert ("NOT to be served" in out) == (code == 2)


def test_what_is_checked_is_what_is_served(bay):
    (bay.folder / "records" / "b.json").write_text(record().replace('"0.', '"1.', 1))
    config = load_config(bay.folder / "bay.toml")
    served = open_bay(config, open_database(":memory:"), TODAY)
    answer = json.loads(bay("--json")[1])
    told = [each["text"] for each in answer["findings"] if each["refused"]]
    assert not answer["ok"]
    assert served.refused
    for text in served.refused:
        assert f"record refused: {text}" in told


def test_records_of_the_state_file_are_judged_and_the_file_is_left_alone(bay):
    shutil.rmtree(bay.folder / "records")
    config = bay.folder / "bay.toml"
    config.write_text('[calibration]\nkeys = ["lab.pub"]\n')
    state = open_database(bay.folder / "levelhead.db")
    open_bay(load_config(config), state, TODAY).records.add(record(), "kept before")
    state.close()
    before = (bay.folder / "levelhead.db").read_bytes()
    assert f"{WHOLE.record_id} is used" in bay()[1]
    assert (bay.folder / "levelhead.db").read_bytes() == before


def test_a_survey_of_tomorrow_week_is_told_with_both_ways_to_be_wrong(bay):
    level = level_file("bay1", (TODAY + timedelta(days=7)).isoformat(), 180)
    (bay.folder / "level.json").write_text(json.dumps(level))
    (line,) = (line for line in bay()[1].splitlines() if "is dated" in line)
    assert "the file's date is wrong, or this machine's clock" in line


def test_broker_files_that_cannot_be_used_are_refused(bay):
    (bay.folder / "ca.pem").write_text("no certificate")
    with (bay.folder / "bay.toml").open("a") as file:
        file.write('[broker]\nhost = "broker.example"\ntls = true\nca_file = "ca.pem"\n')
    code, out, _ = bay()
    assert code == 2
    assert "REFUSED: broker broker.example:1883: certificate files" in out


@pytest.mark.parametrize("keys", [True, False])
def test_that_signatures_are_not_checked_is_remarked_once(bay, keys):
    text = (bay.folder / "bay.toml").read_text()
    (bay.folder / "bay.toml").write_text(text if keys else text.replace('["lab.pub"]', "[]"))
    opened = open_bay(load_config(bay.folder / "bay.toml"), open_database(":memory:"), TODAY)
    said = [words for _, words, _ in opened.remarks() if "signatures are not checked" in words]
    assert len(said) == (0 if keys else 1)
