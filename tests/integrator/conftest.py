"""The kit for those who wire their own display, held to real parts."""

import os
from pathlib import Path

import pytest

KIT = Path(__file__).parents[2] / "tools" / "integrator"


@pytest.fixture(scope="session")
def node(real_part):
    """Return the words that start Node.js, and its environment with the kit's npm packages."""
    program, modules = real_part("node"), KIT / "node_modules"
    if not modules.is_dir():
        reason = "the npm packages of tools/integrator are not there (npm ci)"
        if os.environ.get("CI") == "true":
            pytest.fail(f"{reason}, and CI must have them")
        pytest.skip(reason)
    return program, {**os.environ, "NODE_PATH": str(modules)}
