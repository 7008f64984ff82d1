"""The vectors of the specification, for every test of this folder that asks for one."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


def load_tool(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"tools_{name}", ROOT / "tools" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


TOOL = load_tool("vectors")
DOCUMENT = (ROOT / "firmware-protocol" / "SPEC.md").read_text(encoding="utf-8")
VECTORS = TOOL.read(DOCUMENT)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    for fixture, reject in (("accepted", False), ("rejected", True)):
        if fixture in metafunc.fixturenames:
            chosen = [vector for vector in VECTORS if vector.reject is reject]
            names = [f"{vector.name}-line-{vector.line}" for vector in chosen]
            metafunc.parametrize(fixture, chosen, ids=names)


@pytest.fixture(scope="session")
def vector_tool() -> ModuleType:
    return TOOL


@pytest.fixture(scope="session")
def fuzzer() -> ModuleType:
    return load_tool("fuzz_wire")


@pytest.fixture(scope="session")
def document() -> str:
    return DOCUMENT


@pytest.fixture(scope="session")
def sound_frames() -> list[bytes]:
    return [vector.frame for vector in VECTORS if not vector.reject]
