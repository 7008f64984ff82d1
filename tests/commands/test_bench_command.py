"""``levelhead bench`` on a real pty and without any terminal, stopped in the middle and gone on."""

import contextlib
import csv
import io
import json
import math
import os
import pty
import re
import select
import shlex
import shutil
import signal
import struct
import subprocess
import sys
import termios
import time
from dataclasses import dataclass
from datetime import date
from fcntl import ioctl
from functools import partial
from unittest import mock

import pytest

from ingest.cli import main
from ingest.commands.bench_folder import REFERENCES, Folder
from ingest.commands.bench_simulated import write_papers
from ingest.simulator.bench.bench import SimulatedBench

LEVELHEAD = (sys.executable, "-m", "ingest.cli")
ENTER, INTERRUPT = b"\r", b"\x03"
PATIENCE_S = 30.0
SHORT = ["KL-SINE-1", "KL-BLK-1", "KL-T-1"]
"""Without an index plate the circles are closed, and only the tilt axes are verified."""
ALONE = ("--simulated", "--one-head")
OVEN = ("--oven", "5,35")
PAIR = ("--simulated", "--three-axis")


class Typist:
    """A person at a terminal of 80 by 24: reads what stands there, and types."""

    def __init__(self, *words):
        self._master, slave = pty.openpty()
        ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.process = subprocess.Popen(
            [*LEVELHEAD, "bench", *map(str, words)],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, "TERM": "xterm", "NO_COLOR": "1"},
            preexec_fn=partial(os.login_tty, os.dup(slave)),
        )
        self._slave = slave
        self._seen = b""
        self.all = b""

    def until(self, pattern):
        """Read on until a screen shows the pattern."""
        end = time.monotonic() + PATIENCE_S
        while not re.search(pattern, self._seen.decode("utf-8", "replace")):
            left = end - time.monotonic()
            assert left > 0, self._seen[-2000:].decode("utf-8", "replace")
            if select.select([self._master], [], [], min(left, 0.5))[0]:
                data = os.read(self._master, 65536)
                self._seen += data
                self.all += data

    def type(self, keys):
        self._seen = b""
        os.write(self._master, keys)

    def enter(self, pattern, keys=b""):
        self.type(keys + ENTER)
        self.until(pattern)

    @property
    def is_cooked(self):
        """Whether the terminal puts lines together itself again."""
        return bool(termios.tcgetattr(self._slave)[3] & termios.ICANON)

    def end(self):
        code = self.process.wait(PATIENCE_S)
        with contextlib.suppress(OSError):
            while select.select([self._master], [], [], 0)[0]:
                self._seen += os.read(self._master, 65536)
        return code, self._seen.decode("utf-8", "replace")

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def typist():
    started = []

    def start(*words):
        started.append(Typist(*words))
        return started[-1]

    yield start
    for each in started:
        each.close()


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def run(*words, answers=""):
    """Run the command in this process, with answers on standard input."""
    out, err = io.StringIO(), io.StringIO()
    with (
        mock.patch("sys.stdin", io.StringIO(answers)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = main(["bench", *map(str, words)])
    return Done(code, out.getvalue(), err.getvalue())


def prepared(folder, references=SHORT, letters="A"):
    """Write the sheet and the register of the simulated workshop, naming fewer references."""
    folder.mkdir(parents=True)
    write_papers(Folder(folder, folder / REFERENCES), 17, date.today(), letters)
    sheet = folder / "sheet.toml"
    text = re.sub(r"references = \[.*\]", f"references = {references}", sheet.read_text())
    sheet.write_text(text.replace("'", '"'))
    return folder


def rows_of(file):
    """Return a file's rows but for when they were taken."""
    with file.open(newline="") as lines:
        return [{k: v for k, v in row.items() if k != "time"} for row in csv.DictReader(lines)]


def coefficients(file):
    return json.loads(file.read_text())["coefficients"]


@pytest.fixture(scope="module")
def key(tmp_path_factory):
    path = tmp_path_factory.mktemp("keys") / "bench.key"
    assert main(["record", "key", "--make", str(path)]) == 0
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory, key):
    """One head, from the first reading to the certificate, without a break."""
    folder = prepared(tmp_path_factory.mktemp("whole") / "work")
    done = run(folder, *ALONE, *OVEN, "--by-itself", "--key", key)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    (folder.parent / "log.txt").write_text(done.stdout)
    return folder


def test_by_itself_and_away_from_a_terminal_it_keeps_a_log(whole):
    lines = (whole.parent / "log.txt").read_text().splitlines()
    steps = [line for line in lines if line.startswith("step ")]
    assert steps[0] == "step 1 of 21: References"
    assert len(steps) == 21
    assert len(lines) < 60
    assert not any("Taken: " in line for line in lines)
    assert "  taken 4, at least 4, at most 4; spread 0.003" in "\n".join(lines)
    assert "  Verdicts as left: " in "\n".join(lines)
    assert lines[-1].startswith("All is done. Signed, with certificates, in ")


def test_the_oven_tells_the_drift(whole):
    """The truth is that of the simulated head; four standard uncertainties."""
    tilt = coefficients(whole / "A.json")["tilt"]
    true = SimulatedBench(17).heads["A"].sensors.tilt
    assert tilt["reference_temperature_degc"] == 20.0
    for i in (0, 1):
        drift, u = tilt["bias_deg_per_degc"][i], tilt["u_bias_deg_per_degc"][i]
        assert abs(drift - math.degrees(true.bias_per_degc[i])) < 4 * u
        assert u < 3e-4
        scale, u = tilt["scale_per_degc"][i], tilt["u_scale_per_degc"][i]
        assert abs(scale - true.matrix_per_degc) < 4 * u
        assert u < 5e-5


def test_a_soak_that_was_broken_off_goes_on_there(whole, tmp_path):
    folder = tmp_path / "work"
    later = shutil.ignore_patterns("A*", "found.csv", "left.csv", "cool.csv", "commands.txt")
    shutil.copytree(whole, folder, ignore=later)
    lines = (folder / "oven.csv").read_text().splitlines(keepends=True)
    (folder / "oven.csv").write_text("".join(lines[:7]))
    done = run(folder, *ALONE, *OVEN, answers="\n\nquit\n")
    assert re.search(r"now: y \+0.00° at 35 °C", done.stdout)
    assert rows_of(folder / "oven.csv") == rows_of(whole / "oven.csv")


@pytest.mark.parametrize("degc", ["35", "20,22", "5,x", "5,5,35", "5,900"])
def test_temperatures_that_tell_no_drift_are_refused(tmp_path, degc):
    done = run(tmp_path / "work", *ALONE, "--oven", degc)
    assert done.returncode == 2
    assert "--oven: " in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_key_that_cannot_sign_is_told_before_anything_is_read(tmp_path, key):
    folder = tmp_path / "work"
    for words, told in (
        (("--by-itself",), "--key: missing; signing needs a private key"),
        (("--key", f"{key}.pub"), "is a public key; signing takes the private one"),
        (("--key", tmp_path / "none"), "none: no such file"),
    ):
        done = run(folder, *ALONE, *words)
        assert done.returncode == 2
        assert told in done.stderr
        assert len(done.stderr.splitlines()) == 1
        assert not folder.exists()
    done = run(folder, *ALONE, answers="quit\n")
    assert "No --key was given: readings are kept" in done.stdout


def test_a_whole_calibration_ends_with_a_signed_record_and_its_certificate(whole, key, capsys):
    assert (whole / "A-certificate.pdf").read_bytes().startswith(b"%PDF")
    assert (whole / "A-certificate.html").stat().st_size > 10_000
    assert (whole / "A-certificate.xml").stat().st_size > 10_000
    assert main(["record", "check", str(whole / "A.json"), "--key", f"{key}.pub"]) == 0
    record = json.loads((whole / "A.json").read_text())
    decided = {(v["channel"], v["name"]): v["decision"] for v in record["as_left"]["verdicts"]}
    assert decided["incl_x", "max-error"] == "pass"
    assert decided["incl_y", "max-error"] == "pass"
    assert record["adjusted"]
    assert record["simulated"] is True
    page = (whole / "A-certificate.html").read_text(encoding="utf-8")
    assert "SIMULATED" in page
    assert "checked with its public key: holds" in page
    assert "NOT CHECKED" not in page
    assert record["adjustment"]["by"] == "Ada Brindle"
    assert record["as_left"]["after"] == record["adjustment"]["sha256"]
    assert "thermometer" in [used["kind"] for used in record["references"]]
    assert "SIMULATED" in (whole / "A-certificate.xml").read_text(encoding="utf-8")


def test_the_commands_on_the_same_files_give_the_same_numbers_to_the_last_bit(
    whole, tmp_path, capsys
):
    written = [shlex.split(line)[1:] for line in (whole / "commands.txt").read_text().splitlines()]
    assert [words[0] for words in written].count("calibrate") >= 3
    again = tmp_path / "A.json"
    for words in written:
        if words[0] in ("calibrate", "verify") or words[:2] == ["record", "adjust"]:
            moved = [str(again) if w == str(whole / "A.json") else w for w in words]
            assert main(moved) == 0, capsys.readouterr().err
    ours, theirs = (json.loads(f.read_text()) for f in (whole / "A.json", again))
    for part in ("coefficients", "fits", "as_found", "adjustment", "as_left", "budgets", "raw"):
        assert ours[part] == theirs[part], part


def test_stopped_by_ctrl_c_and_by_a_kill_it_goes_on_with_nothing_lost(whole, tmp_path, key, typist):
    folder = prepared(tmp_path / "work")
    person = typist(folder, *ALONE)
    person.until("step 1 of")
    person.enter("In order on")
    person.enter("Warm-up: done")
    for row in (1, 2, 3):
        person.enter(rf"Taken: .* \(row {row}\)")
    assert len(rows_of(folder / "steps.csv")) == 3
    person.type(INTERRUPT)
    code, text = person.end()
    assert code == 130
    assert "the same command goes on there" in text
    assert person.is_cooked

    person = typist(folder, *ALONE)
    person.until("taken 3, at least 4")
    person.enter("enough")
    person.enter(r"Taken: x as-marked \(row 1\)")
    person.enter(r"Taken: y as-marked \(row 2\)")
    person.type(ENTER)  # killed while it reads, or just after
    person.process.send_signal(signal.SIGKILL)
    person.end()

    done = run(folder, *ALONE, *OVEN, "--by-itself", "--key", key)
    assert done.returncode == 0, done.stderr
    for name in (
        "oven.csv",
        "steps.csv",
        "reversal.csv",
        "closure.csv",
        "found.csv",
        "left.csv",
        "still.csv",
    ):
        assert rows_of(folder / name) == rows_of(whole / name), name
    assert coefficients(folder / "A.json") == coefficients(whole / "A.json")


def test_a_row_is_taken_back_and_another_attitude_chosen_at_the_terminal(tmp_path, typist):
    folder = prepared(tmp_path / "work")
    person = typist(folder, *ALONE)
    person.until("step 1 of")
    person.enter("In order on")
    person.enter("Warm-up: done")
    person.enter(r"Taken: .* \(row 1\)")
    person.enter("marked as withdrawn", b"u")
    person.enter(r"now: x \+0.00", b"ox\x7f")
    person.enter(r"Taken: x \+0.* \(row 2\)")
    person.enter("'hello' means nothing", b"hello")
    person.type(b"quit" + ENTER)
    assert person.end()[0] == 0
    rows = rows_of(folder / "steps.csv")
    assert [(r["row"], r["sign"], r["withdrawn"]) for r in rows] == [
        ("1", "+1", "1"),
        ("2", "+1", ""),
    ]


def test_the_screen_shows_reading_and_stillness_without_any_colour(tmp_path, typist):
    person = typist(prepared(tmp_path / "work"), *ALONE)
    person.until("step 1 of")
    person.enter("In order on")
    person.until("head A: still: .* creeps by 0.0")
    person.until("incl_x [+-][0-9.]+°")
    person.type(b"quit" + ENTER)
    person.end()
    assert not re.search(rb"\x1b\[[0-9;]*(3|4|9)[0-7]m", person.all)


def test_two_heads_on_the_bar_stopped_and_gone_on_come_out_the_same(tmp_path, key, typist):
    whole = prepared(tmp_path / "whole", ["KL-BAR-1"], "AB")
    signed = ("--by-itself", "--key", key)
    done = run(whole, *PAIR, *signed)
    assert "certificate" not in done.stderr
    assert done.returncode == 3  # nothing was verified, so nothing can be signed
    folder = tmp_path / "work"
    shutil.copytree(whole, folder, ignore=shutil.ignore_patterns("bar.csv", "?.json"))
    person = typist(folder, *PAIR, *signed)
    person.until("Two heads on the reference bar(.|\n)*Taken: as marked")
    person.process.send_signal(signal.SIGKILL)
    person.end()
    assert 2 <= len(rows_of(folder / "bar.csv")) < len(rows_of(whole / "bar.csv"))
    done = run(folder, *PAIR, *signed)
    assert done.returncode == 3
    for name in ("bar.csv", "A/reversal.csv", "B/closure.csv"):
        assert rows_of(folder / name) == rows_of(whole / name), name
    for name in ("A.json", "B.json"):
        assert coefficients(folder / name) == coefficients(whole / name)
        kinds = {fit["kind"] for fit in json.loads((folder / name).read_text())["fits"]}
        assert "bar" in kinds


def test_a_reference_out_of_date_stops_the_work_with_its_reason(tmp_path):
    folder = prepared(tmp_path / "work")
    register = folder / "references.toml"
    register.write_text(re.sub(r"due = \S+", "due = 2020-01-02", register.read_text()))
    register.write_text(re.sub(r"\ndate = \S+", "\ndate = 2019-01-02", register.read_text()))
    done = run(folder, *ALONE, answers="\n\n\n")
    assert done.returncode == 3
    assert "KL-SINE-1" in done.stdout.splitlines()[-1]
    assert "was due on 2020-01-02" in done.stdout.splitlines()[-1]
    assert not (folder / "warmup.csv").exists()


def test_blocks_of_unknown_size_stop_the_work_before_it_begins(tmp_path):
    folder = prepared(tmp_path / "work")
    register = folder / "references.toml"
    register.write_text(re.sub(r"blocks = .*", "", register.read_text()))
    done = run(folder, *ALONE, answers="\n")
    assert done.returncode == 3
    assert "KL-BLK-1 tell neither U_per_mm nor their blocks" in done.stdout


def test_another_head_than_the_sheets_is_refused(tmp_path):
    folder = prepared(tmp_path / "work")
    sheet = folder / "sheet.toml"
    sheet.write_text(re.sub(r'head_id = ".*"', f'head_id = "{"ab" * 8}"', sheet.read_text()))
    done = run(folder, *ALONE)
    assert done.returncode == 3
    assert "abababababababab" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("row,axis\n1,x\n3,y\n", "row 3: comes where row 2 is missing"),
        ("row,axis,height_mm,sign\n1,x,ten,1\n", "steps.csv: could not convert"),
        ("row,height_mm\n1,5\n", "no column"),
    ],
)
def test_a_file_that_cannot_be_gone_on_from_is_named(tmp_path, text, told):
    folder = prepared(tmp_path / "work")
    (folder / "steps.csv").write_text(text)
    done = run(folder, *ALONE)
    assert done.returncode == 2
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_answers_come_from_a_script(tmp_path):
    folder = prepared(tmp_path / "work")
    script = tmp_path / "answers.txt"
    script.write_text("\n\n\nu\nquit\n")
    done = run(folder, *ALONE, "--script", script)
    assert done.returncode == 0
    assert [row["withdrawn"] for row in rows_of(folder / "steps.csv")] == ["1"]


@pytest.mark.parametrize("words", [(), ("--simulated", "--by-itself", "--script", "none.txt")])
def test_what_is_missing_is_said_in_one_line(tmp_path, words):
    done = run(tmp_path / "work", *words)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


def test_by_itself_is_for_simulated_heads_alone(tmp_path):
    done = run(tmp_path / "work", "--by-itself", "--config", "bay.toml")
    assert done.returncode == 2
    assert "a real head needs hands" in done.stderr


@pytest.mark.parametrize(("answers", "code"), [("\n\n", 3), ("\n\nquit\n", 0)])
def test_who_leaves_or_has_no_more_answers_is_told_where(tmp_path, answers, code):
    folder = prepared(tmp_path / "work")
    done = run(folder, *ALONE, answers=answers)
    assert done.returncode == code
    last = done.stdout.splitlines()[-1]
    assert re.match(r"Left at step 3 of \d+, Tilt by sine bar", last), last
    assert f"All readings are in {folder}; the same command goes on there." in last
    assert "All is done" not in done.stdout


def test_a_second_bench_is_kept_out_of_a_folder_until_the_first_is_gone(tmp_path, typist):
    folder = prepared(tmp_path / "work")
    person = typist(folder, *ALONE)
    person.until("step 1 of")
    done = run(folder, *ALONE, answers="quit\n")
    assert (done.returncode, done.stdout) == (2, "")
    assert f"{folder}: another bench is at work in it" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    person.process.send_signal(signal.SIGKILL)
    person.end()
    assert run(folder, *ALONE, answers="quit\n").returncode == 0


def test_a_sheet_says_whether_its_heads_are_simulated(tmp_path):
    folder = prepared(tmp_path / "work")
    done = run(folder, "--config", "bay.toml")
    assert done.returncode == 2
    assert "sheet.toml: says simulated = true, and these heads are real" in done.stderr
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace("simulated = true\n", ""))
    done = run(folder, *ALONE, answers="quit\n")
    assert done.returncode == 2
    assert "sheet.toml: does not say simulated = true" in done.stderr
