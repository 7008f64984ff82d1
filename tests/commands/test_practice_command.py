"""``levelhead practice`` as a process of its own: ptys, a broker, requests, papers."""

import subprocess
import sys

import pytest

from ingest.payload.job_record import load_job_record


@pytest.mark.timeout(240)
def test_an_alignment_from_published_advice_alone_ends_with_its_papers(tmp_path):
    words = [sys.executable, "-u", "-m", "ingest.cli", "practice", "rigid-4x2"]
    done = subprocess.run(
        [*words, "--report", str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    (path,) = tmp_path.glob("*.json")
    record = load_job_record(path.read_text(), str(path))
    job = record.replayed()
    assert job.closed is not None
    assert job.closed.finished
    assert job.opened.simulated
    assert {a.task.quantity for a in job.adjustments} == {"axle_heading", "total_toe"}
    assert abs(job.left["axle/2/both/heading"].value) < abs(job.found["axle/2/both/heading"].value)
    assert {p.suffix for p in tmp_path.iterdir()} == {".json", ".pdf", ".html"}


def test_a_folder_that_is_not_there_is_told_before_anything_begins(tmp_path):
    words = [sys.executable, "-m", "ingest.cli", "practice", "--report", str(tmp_path / "no")]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "no such folder" in done.stderr
