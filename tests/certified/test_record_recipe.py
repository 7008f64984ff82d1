"""The recipe of RECORD.md for checking a record without this program, run as it is printed."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "tests" / "calibration" / "records" / "version-2.json"


@pytest.fixture
def recipe(real_part, tmp_path):
    """Return a function that runs the recipe on a record and returns its exit code."""
    real_part("openssl")
    (script,) = re.findall(
        r"```sh\n(.*?)```", (ROOT / "calibration" / "RECORD.md").read_text(), re.S
    )
    path = f"{Path(sys.executable).parent}:{os.environ['PATH']}"

    def run(content):
        (tmp_path / "R.json").write_text(content, encoding="utf-8")
        shutil.copy(KEPT.with_suffix(".pub"), tmp_path / "lab.pub")
        words = [real_part("bash"), "-e", "-c", script]
        done = subprocess.run(
            words, cwd=tmp_path, env=os.environ | {"PATH": path}, capture_output=True, timeout=60
        )
        return done.returncode

    return run


def test_the_recipe_confirms_the_kept_record(recipe):
    assert recipe(KEPT.read_text(encoding="utf-8")) == 0


def test_the_recipe_finds_a_changed_figure(recipe):
    assert recipe(KEPT.read_text(encoding="utf-8").replace("0.4137", "0.4138")) != 0
