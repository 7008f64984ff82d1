"""A service on a real pty, each in a process of its own."""

import json

import pytest

from tests.rig.mosquitto import free_port
from tests.rig.serving import PATIENCE_S, Ear, process


@pytest.fixture
def head_path():
    """A simulated head on a pty, in a process of its own."""
    simulator = process("ingest.simulator", "--heads", "1", "--seed", "5")
    try:
        yield json.loads(simulator.stdout.readline())["ptys"][0]
    finally:
        simulator.terminate()
        simulator.communicate(timeout=PATIENCE_S)


@pytest.fixture
def serving(tmp_path):
    """Return a starter of a service for one port; it yields the process and a client."""
    started = []

    def start(port_path, bay=""):
        mqtt_port = free_port()
        config = tmp_path / "pit.toml"
        config.write_text(
            f'[bay]\nname = "pit"\n{bay}[broker]\nport = {mqtt_port}\n'
            f'[[head]]\nport = "{port_path}"\n'
        )
        service = process("ingest.cli", "serve", str(config))
        assert "serves bay pit" in service.stdout.readline()
        ear = Ear(mqtt_port)
        started.append((service, ear))
        return service, ear

    yield start
    for service, ear in started:
        ear.close()
        if service.poll() is None:
            service.kill()
        service.communicate(timeout=PATIENCE_S)
