"""Real parts from outside Python: skipped by name where missing, needed under ``CI=true``."""

import os
import shutil

import pytest


@pytest.fixture
def real_part():
    """Return a function that gives a program's path, or skips (fails under CI) by its name."""

    def find(name: str) -> str:
        path = shutil.which(name, path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")
        if path is not None:
            return path
        reason = f"{name} is not installed"
        if os.environ.get("CI") == "true":
            pytest.fail(f"{reason}, and CI must have it")
        pytest.skip(reason)

    return find
