"""``levelhead record``: what is signed, by whom, whether it holds; keys and where they lie."""

import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from calibration.records.keys import key_id, read_private, read_public
from calibration.records.signatures import distrust
from calibration.records.text import dump_record, load_record, seal
from ingest.cli import main

KEPT = Path(__file__).parents[1] / "calibration" / "records"
VERSION_1, VERSION_2, LAB = (
    KEPT / n for n in ("version-1.json", "version-2.json", "version-2.pub")
)
LAB_ID = key_id(read_public(LAB.read_bytes(), "lab"))
README = Path(__file__).parents[2] / "README.md"
SEAL = "This is an integrity seal, no qualified electronic signature."


@pytest.fixture
def levelhead(capsys):
    """Return a runner: words -> exit code, standard output, standard error."""

    def run(*words):
        code = main(["record", *map(str, words)])
        return code, *capsys.readouterr()

    return run


@pytest.fixture
def key(levelhead, tmp_path):
    """A key pair made by the command."""
    assert levelhead("key", "--make", tmp_path / "lab")[0] == 0
    return tmp_path / "lab"


def draft(tmp_path, **changes):
    """Return the file of a draft, the kept record as it was before it was signed."""
    record = load_record(VERSION_2.read_text(encoding="utf-8")).revised(**changes)
    path = tmp_path / "A.json"
    path.write_text(dump_record(seal(record)), encoding="utf-8")
    return path


def test_a_signed_record_holds(levelhead):
    code, out, err = levelhead("check", VERSION_2, "--key", LAB)
    assert (code, err) == (0, "")
    assert f"signature  holds: key {LAB_ID} ({LAB})" in out
    assert "performed by Ada Brindle, authorised by Jonas Wexcombe" in out
    assert "\nIt holds.\n" in out
    assert out.endswith(f"{SEAL}\n")


def test_without_a_key_it_is_said_that_nothing_was_judged(levelhead):
    code, out, _ = levelhead("check", VERSION_2)
    assert code == 0
    assert f"not checked, its key was not given: key {LAB_ID}" in out
    assert "holds as far as can be told without a public key" in out


def test_a_wrong_key_does_not_hold(levelhead, key):
    code, out, _ = levelhead("check", VERSION_2, "--key", f"{key}.pub")
    assert code == 3
    assert f"FAULT      is signed by {LAB_ID}, which is none of the keys" in out
    assert "It does NOT hold: do not measure with it." in out


def test_one_of_several_keys_is_enough(levelhead, key):
    assert levelhead("check", VERSION_2, "--key", f"{key}.pub", "--key", LAB)[0] == 0


def test_an_altered_record_is_refused_by_name(levelhead, tmp_path):
    path = tmp_path / "R.json"
    path.write_text(VERSION_2.read_text("utf-8").replace("0.4137", "0.4138"), encoding="utf-8")
    code, out, err = levelhead("check", path, "--key", LAB)
    assert (code, out) == (3, "")
    why = "altered after it was sealed: its hash differs; take an unaltered copy"
    assert err == f"levelhead record: refused: {path}: {why}\n"


def test_a_record_sealed_again_by_somebody_else_does_not_hold(levelhead, tmp_path):
    record = load_record(VERSION_2.read_text(encoding="utf-8"))
    tilt = record.tilt.model_copy(update={"bias_deg": (0.0, 0.0, 0.0)})
    coefficients = record.coefficients.model_copy(update={"tilt": tilt})
    forged = seal(record.model_copy(update={"coefficients": coefficients}))
    path = tmp_path / "R.json"
    path.write_text(dump_record(forged), encoding="utf-8")
    code, out, _ = levelhead("check", path, "--key", LAB)
    assert code == 3
    assert "the signature fails" in out
    assert f"signature  FAILS: key {LAB_ID}" in out


@pytest.mark.parametrize(
    ("content", "reason"),
    [(b"", "unreadable JSON"), (b"\xff", "not UTF-8"), (b"{}", "not a levelhead-calibration")],
)
def test_what_is_no_record_is_bad_input(levelhead, tmp_path, content, reason):
    path = tmp_path / "R.json"
    path.write_bytes(content)
    code, out, err = levelhead("check", path)
    assert (code, out) == (2, "")
    assert reason in err
    assert err.count("\n") == 1


def test_a_missing_file_is_bad_input(levelhead, tmp_path):
    for words in (
        ("check", tmp_path / "no"),
        ("check", VERSION_2, "--key", tmp_path / "no"),
        ("check", VERSION_2, "--raw", tmp_path / "no"),
        ("check", VERSION_2, "--previous", tmp_path / "no"),
        ("show", tmp_path / "no"),
    ):
        code, out, err = levelhead(*words)
        assert (code, out) == (2, "")
        assert err == f"levelhead record: {tmp_path / 'no'}: no such file or directory\n"


def test_raw_files_are_held_against_the_record(levelhead, tmp_path):
    raw, other = tmp_path / "renamed.csv", tmp_path / "sphere.csv"
    raw.write_bytes(b"row,attitude\n")
    other.write_bytes(b"row,attitude\r\n")
    assert "raw file   sphere.csv: not checked" in levelhead("check", VERSION_2)[1]
    code, out, _ = levelhead("check", VERSION_2, "--raw", raw)
    assert (code, f"{raw} is sphere.csv, as read" in out) == (0, True)
    assert "not checked, it was not given\n" not in out.replace("its key was not given", "")
    code, out, _ = levelhead("check", VERSION_2, "--raw", other)
    assert (code, f"{other} is NOT one that it was made from" in out) == (3, True)


def test_the_record_before_is_held_against_the_link(levelhead, tmp_path):
    assert levelhead("check", VERSION_2, "--previous", VERSION_1)[0] == 0
    first = load_record(VERSION_1.read_text(encoding="utf-8"))
    other = seal(first.model_copy(update={"stub_m": 0.3, "sha256": ""}))
    path = tmp_path / "P.json"
    path.write_text(dump_record(other), encoding="utf-8")
    code, out, _ = levelhead("check", VERSION_2, "--previous", path)
    assert code == 3
    assert "follows cal-2026-0042, which is missing or not what it was" in out


def test_json_says_the_same(levelhead, key, tmp_path):
    found = json.loads(levelhead("check", VERSION_2, "--key", LAB, "--json")[1])
    assert found["holds"] is True
    assert found["signatures"] == [{"key_id": LAB_ID, "holds": True}]
    assert (found["record_id"], found["previous"]) == ("cal-2026-0107", "cal-2026-0042")
    assert (found["missing"], found["faults"]) == ([], [])
    code, out, _ = levelhead("check", VERSION_2, "--key", f"{key}.pub", "--json")
    assert code == 3
    assert json.loads(out)["holds"] is False


def test_a_draft_says_what_it_lacks_and_holds(levelhead, tmp_path):
    code, out, _ = levelhead("check", draft(tmp_path, place="", authorised_by="Ada Brindle"))
    assert code == 0
    assert "lacks      7.8.2.1 c: place is blank" in out
    assert "It holds, as a draft that nobody signed." in out
    assert SEAL not in out


def test_a_draft_does_not_hold_where_a_signature_is_wanted(levelhead, tmp_path):
    code, out, _ = levelhead("check", draft(tmp_path), "--key", LAB)
    assert code == 3
    assert "is not signed" in out


def test_a_signed_record_that_is_incomplete_does_not_hold(levelhead, tmp_path):
    record = load_record(VERSION_2.read_text(encoding="utf-8"))
    bare = seal(record.model_copy(update={"place": ""}))
    path = tmp_path / "R.json"
    path.write_text(dump_record(bare), encoding="utf-8")
    code, out, _ = levelhead("check", path)
    assert code == 3
    assert "signed, although incomplete: 7.8.2.1 c: place is blank" in out


def test_version_1_holds_without_a_signature(levelhead):
    code, out, _ = levelhead("check", VERSION_1)
    assert code == 0
    assert "It holds (version 1 has no signature)." in out
    assert levelhead("check", VERSION_1, "--key", LAB)[0] == 3


def test_signing_in_place_and_checking(levelhead, key, tmp_path):
    path = draft(tmp_path)
    code, out, err = levelhead("sign", path, "--key", key)
    assert (code, err) == (0, "")
    assert SEAL in out
    record = load_record(path.read_text(encoding="utf-8"))
    public = read_public(Path(f"{key}.pub").read_bytes(), "pub")
    assert f"signed with key {key_id(public)}" in out
    assert distrust(record, [public]) is None
    assert levelhead("check", path, "--key", f"{key}.pub")[0] == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["A.json", "lab", "lab.pub"]


def test_a_file_keeps_its_permissions_and_a_link_its_target(levelhead, key, tmp_path):
    path, link = draft(tmp_path), tmp_path / "link"
    path.chmod(0o640)
    link.symlink_to(path)
    assert levelhead("sign", link, "--key", key)[0] == 0
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert load_record(path.read_text(encoding="utf-8")).signatures


def test_signing_to_another_file_leaves_the_draft(levelhead, key, tmp_path):
    path = draft(tmp_path)
    before = path.read_bytes()
    assert levelhead("sign", path, "--key", key, "-o", tmp_path / "B.json")[0] == 0
    assert path.read_bytes() == before
    assert levelhead("check", tmp_path / "B.json", "--key", f"{key}.pub")[0] == 0


def test_signing_to_standard_output_prints_the_record_alone(levelhead, key, tmp_path):
    code, out, _ = levelhead("sign", draft(tmp_path), "--key", key, "-o", "-")
    assert code == 0
    assert load_record(out).signatures


def test_an_incomplete_draft_is_not_signed_and_all_reasons_are_said(levelhead, key, tmp_path):
    path = draft(tmp_path, place="", references=(), authorised_by="Ada Brindle")
    before = path.read_bytes()
    code, out, err = levelhead("sign", path, "--key", key)
    assert (code, out) == (3, "")
    lines = err.splitlines()
    assert lines[0] == "levelhead record: refused: cal-2026-0107 lacks"
    assert [line.split(":")[0].strip() for line in lines[1:]] == [
        "7.8.2.1 c",
        "7.8.2.1 o",
        "7.8.4.1 c",
    ]
    assert path.read_bytes() == before


@pytest.mark.parametrize("broken", ["output folder", "disk"])
def test_nothing_half_written_stays_behind(levelhead, key, tmp_path, monkeypatch, broken):
    path = draft(tmp_path)
    before = path.read_bytes()
    output = path
    if broken == "output folder":
        output = tmp_path / "none" / "B.json"
    else:

        def full(handle):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "fsync", full)
    code, out, err = levelhead("sign", path, "--key", key, "-o", output)
    assert (code, out) == (2, "")
    assert err.startswith(f"levelhead record: {output}: cannot be written: no s")
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["A.json", "lab", "lab.pub"]


def test_version_1_cannot_be_signed(levelhead, key):
    code, _, err = levelhead("sign", VERSION_1, "--key", key, "-o", "-")
    assert code == 2
    assert "version 1, which has no signature" in err


def test_a_public_key_does_not_sign(levelhead, key, tmp_path):
    public = Path(f"{key}.pub")
    public.chmod(0o600)
    code, _, err = levelhead("sign", draft(tmp_path), "--key", public)
    assert code == 2
    assert "is a public key; signing takes the private one" in err


def test_a_private_key_that_others_can_read_is_refused(levelhead, key, tmp_path):
    key.chmod(0o640)
    code, _, err = levelhead("sign", draft(tmp_path), "--key", key)
    assert code == 2
    assert f"chmod 600 {key}" in err


def test_the_private_key_is_for_its_owner_alone(levelhead, tmp_path):
    before = os.umask(0)
    try:
        code, out, err = levelhead("key", "--make", tmp_path / "lab")
    finally:
        os.umask(before)
    assert (code, err) == (0, "")
    assert stat.S_IMODE((tmp_path / "lab").stat().st_mode) == 0o600
    private = read_private((tmp_path / "lab").read_bytes(), "lab")
    public = read_public((tmp_path / "lab.pub").read_bytes(), "lab.pub")
    assert key_id(private.public_key()) == key_id(public)
    assert f"key {key_id(public)}" in out


def test_nothing_of_the_private_key_is_printed(levelhead, tmp_path):
    _, out, err = levelhead("key", "--make", tmp_path / "lab")
    secret = (tmp_path / "lab").read_text().splitlines()[1]
    raw = read_private((tmp_path / "lab").read_bytes(), "lab").private_bytes_raw()
    for text in (secret, raw.hex()):
        assert all(text[i : i + 12] not in out + err for i in range(len(text) - 12))


def test_every_key_is_another(levelhead, tmp_path):
    for name in ("one", "two"):
        levelhead("key", "--make", tmp_path / name)
    assert (tmp_path / "one").read_bytes() != (tmp_path / "two").read_bytes()


@pytest.mark.parametrize("taken", ["lab", "lab.pub"])
@pytest.mark.parametrize("kind", ["file", "dangling link"])
def test_a_key_is_never_overwritten(levelhead, tmp_path, taken, kind):
    path = tmp_path / taken
    if kind == "file":
        path.write_bytes(b"old")
    else:
        path.symlink_to(tmp_path / "elsewhere")
    code, out, err = levelhead("key", "--make", tmp_path / "lab")
    assert (code, out) == (2, "")
    assert err == f"levelhead record: {path}: is there already; a key is never overwritten\n"
    assert [p.name for p in tmp_path.iterdir()] == [taken]


@pytest.mark.parametrize("place", ["lab", "deep/er/lab", "link/lab"])
def test_no_private_key_is_made_within_a_repository(levelhead, tmp_path, real_part, place):
    tree = tmp_path / "tree"
    subprocess.run([real_part("git"), "init", "-q", tree], check=True, timeout=20)
    (tree / "deep" / "er").mkdir(parents=True)
    (tree / "link").symlink_to(tree / "deep")
    code, out, err = levelhead("key", "--make", tree / place)
    assert (code, out) == (2, "")
    assert f"lies in the git work tree {tree}" in err
    assert err.count("\n") == 1
    assert not list(tree.rglob("lab*"))


def test_a_link_into_a_repository_is_seen_through(levelhead, tmp_path, monkeypatch):
    (tmp_path / "tree" / ".git").mkdir(parents=True)
    (tmp_path / "tree" / "deep").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "tree" / "deep")
    monkeypatch.chdir(tmp_path / "link")
    assert levelhead("key", "--make", "lab")[0] == 2
    assert levelhead("key", "--make", tmp_path / "link" / "lab")[0] == 2


@pytest.mark.parametrize("written", [0, 1])
def test_a_key_that_cannot_be_written_leaves_nothing(levelhead, tmp_path, monkeypatch, written):
    room = iter(range(written))

    def full(handle):
        if next(room, None) is None:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    code, _, err = levelhead("key", "--make", tmp_path / "lab")
    assert code == 2
    assert "cannot be written: no space left" in err
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_bad_input(levelhead, tmp_path):
    code, _, err = levelhead("key", "--make", tmp_path / "none" / "lab")
    assert code == 2
    assert "cannot be made: no such file or directory" in err
    assert err.endswith(f"mkdir -p -m 700 {tmp_path / 'none'}\n")


def test_a_record_is_shown_to_people(levelhead):
    code, out, err = levelhead("show", VERSION_2)
    assert (code, err) == (0, "")
    for text in (
        "cal-2026-0107 (signed)",
        "Kestrel Lane Works",
        "Ada Brindle, authorised by Jonas Wexcombe",
        "KL-SINE-1 (sine-bar): 200.0004 mm, FMO-2026-0311 of Fenmoor Metrology Office",
    ):
        assert text in out
    assert re.search(r"max-error +0\.0025 ± 0\.0056 \(k = 2\.00\) deg +pass", out)


def test_what_was_not_adjusted_is_shown_as_found(levelhead, tmp_path):
    _, out, _ = levelhead("show", draft(tmp_path, adjusted=False, as_left=None))
    assert "(draft, not signed)" in out
    assert "nothing was adjusted: as found" in out


def test_a_record_of_version_1_is_shown(levelhead):
    _, out, _ = levelhead("show", VERSION_1)
    assert "version 1, coefficients only" in out
    assert "inclinometer, 3 axes" in out


def test_a_record_is_read_from_standard_input(levelhead, monkeypatch):
    class Input:
        buffer = VERSION_2.open("rb")

    monkeypatch.setattr("sys.stdin", Input)
    with Input.buffer:
        assert levelhead("check", "-", "--key", LAB)[0] == 0


def test_keys_are_of_one_kind(levelhead, tmp_path, real_part):
    path = tmp_path / "rsa"
    words = [real_part("openssl"), "genpkey", "-algorithm", "ec", "-pkeyopt"]
    subprocess.run(
        [*words, "ec_paramgen_curve:P-256", "-out", path],
        check=True,
        capture_output=True,
        timeout=20,
    )
    path.chmod(0o600)
    code, _, err = levelhead("sign", draft(tmp_path), "--key", path)
    assert (code, "another kind than Ed25519" in err) == (2, True)


def test_a_locked_key_is_refused(levelhead, tmp_path, real_part):
    path = tmp_path / "locked"
    words = [real_part("openssl"), "genpkey", "-algorithm", "ed25519", "-aes256"]
    subprocess.run(
        [*words, "-pass", "pass:owl", "-out", path], check=True, capture_output=True, timeout=20
    )
    path.chmod(0o600)
    code, _, err = levelhead("sign", draft(tmp_path), "--key", path)
    assert (code, "locked with a password" in err) == (2, True)


def test_signing_goes_over_no_other_record(levelhead, key, tmp_path):
    path = draft(tmp_path)
    other = tmp_path / "B.json"
    other.write_bytes(VERSION_2.read_bytes())
    assert levelhead("sign", path, "--key", key, "-o", other)[0] == 0  # of the same content
    for content in (b"row,raw\n1,2\n", dump_signed_of_another_day(tmp_path, levelhead, key)):
        other.write_bytes(content)
        code, out, err = levelhead("sign", path, "--key", key, "-o", other)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "B.json: is there already" in err
        assert other.read_bytes() == content


def dump_signed_of_another_day(tmp_path, levelhead, key):
    folder = tmp_path / "later"
    folder.mkdir()
    path = draft(folder, place="another bench")
    assert levelhead("sign", path, "--key", key)[0] == 0
    return path.read_bytes()


def test_a_named_pipe_is_refused_whatever_it_is_given_as(levelhead, tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    path = draft(tmp_path)
    for words in (
        (pipe,),
        (path, "--raw", pipe),
        (path, "--previous", pipe),
        (path, "--key", pipe),
    ):
        code, out, err = levelhead("check", *words)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert f"{pipe}: is a named pipe" in err


def test_the_pipe_of_a_shell_is_read_as_a_file_is(tmp_path):
    command = f"{sys.executable} -m ingest.cli record check <(sleep 0.2; cat {VERSION_2})"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "It holds as far as can be told" in done.stdout


def test_the_readme_s_way_to_a_key_works_in_an_empty_home(tmp_path):
    block = README.read_text(encoding="utf-8").split("## Calibrate heads")[1].split("```")[1]
    lines = block.partition("levelhead bench")[0].splitlines()[1:-1]
    command = "\n".join(lines).replace(".venv/bin/levelhead", f"{sys.executable} -m ingest.cli")
    assert "record key --make ~/keys/lab" in command
    surroundings = {**os.environ, "HOME": str(tmp_path)}
    done = subprocess.run(
        ["sh", "-ec", command], env=surroundings, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert stat.S_IMODE((tmp_path / "keys").stat().st_mode) == 0o700
    assert (tmp_path / "keys" / "lab.pub").exists()


def test_simulated_work_is_named_wherever_a_record_is_told(levelhead, tmp_path):
    path = draft(tmp_path, simulated=True)
    assert "SIMULATED  its readings come from simulated heads" in levelhead("check", path)[1]
    assert json.loads(levelhead("check", path, "--json")[1])["simulated"] is True
    assert "(draft, not signed; SIMULATED)" in levelhead("show", path)[1]
    path = draft(tmp_path)
    assert "SIMULATED" not in levelhead("check", path)[1] + levelhead("show", path)[1]
    assert json.loads(levelhead("check", path, "--json")[1])["simulated"] is False


def test_check_names_the_adjustment_and_its_own_signature(levelhead, key):
    third, lab = KEPT / "version-3.json", KEPT / "version-3.pub"
    who = key_id(read_public(lab.read_bytes(), "lab"))
    code, out, _ = levelhead("check", third, "--key", lab)
    assert code == 0
    step = load_record(third.read_text(encoding="utf-8")).adjustment
    assert "adjusted   2026-11-20T16:40:00Z by Ada Brindle, from old to new coefficients" in out
    assert f"SHA-256 {step.sha256}\n             signature holds: key {who} ({lab})" in out
    told = json.loads(levelhead("check", third, "--key", lab, "--json")[1])["adjustment"]
    assert told == {
        "at": step.at,
        "by": step.by,
        "sha256": step.sha256,
        "key_id": who,
        "holds": True,
    }
    assert "signature not checked, its key was not given" in levelhead("check", third)[1]
    assert "adjusted   no step of its own (version 2)" in levelhead("check", VERSION_2)[1]
    assert json.loads(levelhead("check", VERSION_1, "--json")[1])["adjustment"] is None


def test_adjusting_signs_the_step_and_leaves_a_draft(levelhead, key, tmp_path):
    path = draft(tmp_path, as_left=None)
    words = ("adjust", path, "--key", key, "--at", "2026-11-20T17:40:00+01:00")
    code, out, err = levelhead(*words)
    assert (code, err) == (0, "")
    assert "cal-2026-0107: adjusted at 2026-11-20T16:40:00Z by Ada Brindle, signed with" in out
    done = load_record(path.read_text(encoding="utf-8"))
    assert (done.version, done.signatures) == (3, ())
    before = path.read_bytes()
    code, _, err = levelhead(*words)
    assert (code, path.read_bytes()) == (2, before)
    assert "was adjusted at 2026-11-20T16:40:00Z" in err


@pytest.mark.parametrize("at", ["yesterday", "2026-11-20T16:40:00", "2026-11-20", ""])
def test_a_time_without_its_zone_is_refused(levelhead, key, tmp_path, at):
    path = draft(tmp_path, as_left=None)
    before = path.read_bytes()
    code, out, err = levelhead("adjust", path, "--key", key, "--at", at)
    assert (code, out, path.read_bytes()) == (2, "", before)
    assert "is no time with its zone" in err


def test_what_is_signed_or_of_version_1_is_not_adjusted(levelhead, key, tmp_path):
    words = ("--key", key, "-o", tmp_path / "A.json")
    assert "is signed and cannot change" in levelhead("adjust", VERSION_2, *words)[2]
    assert "is of version 1" in levelhead("adjust", VERSION_1, *words)[2]
    assert not (tmp_path / "A.json").exists()
