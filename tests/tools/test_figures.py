"""``tools/figures`` runs, and prints what it measured. No figure passes or fails here."""

import json
import subprocess
import sys
from pathlib import Path

MAIN = Path(__file__).parents[2] / "tools" / "figuring" / "main.py"


def figures(*words):
    return subprocess.run(
        [sys.executable, str(MAIN), *words], capture_output=True, text=True, timeout=110
    )


def test_every_section_that_needs_no_broker_gives_rows():
    done = figures("chain", "fit", "coverage", "--quick", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)["figures"]
    assert set(found) == {"chain", "fit", "coverage"}
    for rows in found.values():
        assert rows
        assert all(each["value"] > 0 for each in rows)


def test_an_unknown_section_is_named():
    done = figures("speed-of-light")
    assert done.returncode == 2
    assert "speed-of-light" in done.stderr
    assert "Traceback" not in done.stderr
