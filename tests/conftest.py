"""Shared by all rooms: real parts from outside Python, and time that does not pass.

Real parts are skipped by name where missing, and needed under ``CI=true``.
"""

import asyncio
import os
import selectors
import shutil
import signal
import time
from pathlib import Path

import pytest
from xdist.scheduler import LoadScopeScheduling

from ingest.core.ids import MonotonicNs
from ingest.payload.topics import Topics
from ingest.service.service import Service, ServiceSettings
from ingest.simulator.emulated import COMPILER, build_image
from ingest.simulator.emulator import EMULATOR
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords
from tests.rig.emulated import EmulatedRig
from tests.rig.mosquitto import Mosquitto, free_port

PACED = {
    "test_ble_link.py",
    "test_body_links.py",
    "test_capture_command.py",
    "test_clients.py",
    "test_demo_command.py",
    "test_disturbed_turns.py",
    "test_emulated_head.py",
    "test_flooded_links.py",
    "test_ports_ble.py",
    "test_page_in_a_browser.py",
    "test_leading_in_a_browser.py",
    "test_page_login.py",
    "test_replay.py",
    "test_sizes_in_a_browser.py",
    "test_troubles_in_a_browser.py",
    "test_hours_in_a_browser.py",  # a browser raises its own priority over all others
}
"""Files whose tests follow real time with several processes: never two of them at once, or they
would starve each other on a small machine."""


LONG = {
    "test_a_whole_day.py",
    "test_push.py",
    "test_job_on_a_bay.py",
    "test_live_network.py",
    "test_bench_command.py",
    "test_verification_coverage.py",
    "test_short_roll.py",
    "test_interrupted_turns.py",
    "test_calibrated_on_the_bench.py",
    "test_sweep_uncertainty.py",
    "test_hostile_heads.py",
    "test_combined_tilt.py",
    "test_damaged_bench_files.py",
    "test_hanging_coverage.py",
    "test_run_out_coverage.py",
    "test_bench_fits.py",
    "test_clock.py",
    "test_c_build.py",
}
"""Files that take a worker some ten seconds or more. They are begun first, so that in the end all
workers are done at about the same time."""

FIRST_WORKER = "gw0"
LONG_S = 480


class PacedTogether(LoadScopeScheduling):
    """Gives the tests that follow real time to one worker, any other file to whoever is free.

    A file stays in one piece: what its tests share is made once. The first worker alone runs at
    full priority, and so has the tests that follow real time.
    """

    def _split_scope(self, nodeid):
        file = nodeid.partition("::")[0]
        return "paced" if Path(file).name in PACED else file

    def _assign_work_unit(self, node):
        if "paced" in self.workqueue:
            self.workqueue.move_to_end("paced", last=node.gateway.id != FIRST_WORKER)
        super()._assign_work_unit(node)


def pytest_addoption(parser):
    parser.addoption(
        "--dcc-schemas",
        metavar="DIR",
        help="folder with dcc.xsd 3.3.0 and what it imports; without it those tests are skipped",
    )


def pytest_configure(config):
    if os.environ.get("PYTEST_XDIST_WORKER", FIRST_WORKER) != FIRST_WORKER:
        os.nice(10)
    # A shell that starts us in the background has us ignore Ctrl-C, and so would all that we start.
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: item.path.name not in LONG)
    for item in items:
        # Beside tests at full priority what takes half a minute alone may take four.
        if item.path.name in LONG and item.get_closest_marker("timeout") is None:
            item.add_marker(pytest.mark.timeout(LONG_S))


def pytest_xdist_make_scheduler(config, log):
    gone = (PACED | LONG) - {path.name for path in Path(__file__).parent.rglob("test_*.py")}
    assert not gone, f"no such test file any more: {', '.join(gone)}"
    config.option.loadscopereorder = False  # by time, above, and not by the number of tests
    return PacedTogether(config, log)


@pytest.fixture(scope="session")
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


@pytest.fixture
def mosquitto(real_part, tmp_path):
    """Return a maker of mosquitto brokers, stopped at the end."""
    made = []

    def make(lines=(), port=None):
        broker = Mosquitto(real_part("mosquitto"), tmp_path, port or free_port(), lines)
        made.append(broker)
        return broker

    yield make
    for broker in made:
        broker.kill()


@pytest.fixture(scope="session")
def dcc_schemas(request):
    """The folder of schemas that DCC files are held against; nobody may give them on to others."""
    folder = request.config.getoption("--dcc-schemas")
    if folder is None:
        pytest.skip("no folder of DCC schemas was given (--dcc-schemas DIR)")
    return Path(folder).resolve()


class VirtualTimeSelector(selectors.DefaultSelector):
    """Never waits: where nothing is ready, the loop's time jumps to the next timer."""

    loop = None

    def select(self, timeout=None):
        ready = super().select(0 if timeout is not None else None)
        if not ready and timeout:
            self.loop.now_s += timeout
        return ready


class VirtualTimeLoop(asyncio.SelectorEventLoop):
    """An event loop in which an hour of timers takes no time. Not for use with threads."""

    def __init__(self):
        self.now_s = 1000.0
        selector = VirtualTimeSelector()
        selector.loop = self
        super().__init__(selector)

    def time(self):
        return self.now_s


@pytest.fixture(scope="session")
def run_in_virtual_time():
    """Return what ``asyncio.run`` is, on a loop whose timers take no time."""

    def run(main):
        with asyncio.Runner(loop_factory=VirtualTimeLoop) as runner:
            return runner.run(main)

    return run


@pytest.fixture(scope="session")
def head_image(real_part, tmp_path_factory):
    """The example head in C, built for the emulated board."""
    real_part(COMPILER)
    return build_image(tmp_path_factory.mktemp("image"))


@pytest.fixture
def emulated_rig(real_part, head_image, tmp_path):
    """The standard rig: four emulated heads, not yet plugged in."""
    real_part(EMULATOR)
    return EmulatedRig(head_image, tmp_path)


def now_ns():
    return MonotonicNs(time.monotonic_ns())


@pytest.fixture(scope="session")
def live_service():
    """Return a maker of services on real links, by the host's clocks."""

    def make(bay, links, outlet, store, recorder=None):
        return Service(
            ServiceSettings(),
            Topics(bay),
            links,
            outlet,
            names=StoredHeadNames(store),
            records=StoredRecords(store),
            clock=now_ns,
            wall=time.time_ns,
            random=lambda: 0.5,
            boot="b-1",
            recorder=recorder,
        )

    return make
