"""A service as a process of its own, and a client that hears it."""

import json
import subprocess
import sys
import threading

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

PATIENCE_S = 20.0
ROOT = "levelhead/v1/pit"


class Ear:
    """A plain MQTT client that keeps what it hears and lets a test wait for it."""

    def __init__(self, port):
        self.port = port
        self.heard = []
        self._news = threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe(f"{ROOT}/#", qos=1)
        self._client.on_message = self._keep
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _keep(self, client, userdata, message):
        fields = json.loads(message.payload) if message.payload else {}
        with self._news:
            self.heard.append((message.topic.removeprefix(f"{ROOT}/"), fields))
            self._news.notify_all()

    def wait(self, holds, what):
        """Return the first message that ``holds(topic, fields)``."""

        def found():
            return next((m for m in self.heard if holds(*m)), None)

        with self._news:
            assert self._news.wait_for(found, PATIENCE_S), f"{what}: heard {self.heard[-5:]}"
            return found()

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


def process(*words):
    return subprocess.Popen(
        [sys.executable, "-m", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
