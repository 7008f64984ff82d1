"""Shows one value of a bay, as a display must: python3 display.py --topic axle/1/left/camber

Needs paho-mqtt 2 and nothing else. Prints a line whenever what is shown changes.
"""

import argparse
import contextlib
import getpass
import json
import math
import time

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

WORDS = {"inside": "INSIDE", "undecided": "UNDECIDED", "outside": "OUTSIDE"}


UNREADABLE = {"q": "bad", "why": "unreadable"}


def is_number(value):
    return isinstance(value, int | float) and math.isfinite(value)


def sound(said):
    """Tell whether a message can be shown at all. Nobody guarantees who wrote it."""
    return (
        all(said.get(key) is None or is_number(said[key]) for key in ("value", "U"))
        and is_number(said.get("ttl"))
        and said.get("dp") in range(10)
    )


class Value:
    """What is known of one topic. Times are this program's own: no clocks need to agree."""

    def __init__(self, root, topic):
        self.root, self.topic = root, topic
        level = topic.split("/")
        self.head_status = f"head/{level[1]}/status" if level[0] == "head" else None
        self.lose("no broker")

    def lose(self, why):
        """Forget everything: nothing that was heard before a gap is known to hold after it."""
        self.lost, self.service, self.boot = why, "no service", None
        self.head, self.said, self.at, self.live = None, None, 0.0, False

    def take(self, topic, payload, retained):
        below = topic[len(self.root) + 1 :]
        try:
            said = json.loads(payload) if payload else None
        except (ValueError, RecursionError):
            said = UNREADABLE
        said = said if said is None or isinstance(said, dict) else UNREADABLE
        if below == "svc/status":
            self.see_service(said or {})
        elif below == self.head_status:
            there = (said or {}).get("state") in ("online", "degraded")
            self.head = None if there else "head offline"
        elif below == self.topic:
            self.said, self.at = (
                said if said is None or sound(said) else UNREADABLE,
                time.monotonic(),
            )
            self.live = not retained

    def see_service(self, said):
        if said.get("state") == "online":
            self.service, self.boot = None, said.get("boot")
        elif self.boot is None or said.get("boot", self.boot) == self.boot:
            # Of another boot it is the late will of a start that is over.
            self.service = "service offline"

    def missing(self):
        """Return why there is nothing to show, or None."""
        if self.lost or self.service or self.head:
            return self.lost or self.service or self.head
        if self.said is None:
            return "nothing yet"
        ttl = self.said.get("ttl") or 0
        if ttl > 0 and not self.live:
            return "last known, not live"
        if ttl > 0 and time.monotonic() - self.at > ttl:
            return "nothing new"
        if self.said.get("q") not in ("good", "uncertain") or self.said.get("value") is None:
            return f"bad: {self.said.get('why') or 'unknown'}"
        return None

    def text(self):
        """Return what a person may be shown."""
        unit = (self.said or {}).get("unit", "")
        why = self.missing()
        if why is not None:
            return f"- {unit} NO DATA, {why}".replace("  ", " ")
        said, dp = self.said, self.said["dp"]
        if said.get("U") is None:
            u = "?"
        else:  # a reading's U has digits of its own, a result's those of the value
            u = f"{said['U']:.{dp}f}" if not said["ttl"] else f"{said['U']:g}"
        word = WORDS.get(said.get("dec"), "NOT JUDGED")
        doubt = f", uncertain: {said['why']}" if said["q"] == "uncertain" else ""
        return f"{said['value']:.{dp}f} +/- {u} {unit} {word}{doubt}"


def main():
    parser = argparse.ArgumentParser(description="Show one value of a bay.")
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=1883)
    parser.add_argument("--bay", default="sim-replay")
    parser.add_argument("--topic", default="axle/1/left/camber", help="below the bay")
    parser.add_argument("--user", help="its password is asked for")
    args = parser.parse_args()
    value = Value(f"levelhead/v1/{args.bay}", args.topic)

    def connected(client, userdata, flags, reason, properties):
        if reason.is_failure:
            value.lose(f"broker: {reason}")
            return
        value.lost = None
        wanted = ["svc/status", args.topic, value.head_status]
        client.subscribe([(f"{value.root}/{below}", 1) for below in wanted if below])

    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = connected
    client.on_disconnect = lambda *_: value.lose("no broker")
    client.on_message = lambda c, u, m: value.take(m.topic, m.payload, m.retain)
    if args.user:
        client.username_pw_set(args.user, getpass.getpass())
    client.connect_async(args.host, args.port, keepalive=5)
    client.reconnect_delay_set(1, 2)
    client.loop_start()
    shown = None
    while True:
        now = value.text()
        if now != shown:
            shown = now
            print(now, flush=True)
        time.sleep(0.05)


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main()
