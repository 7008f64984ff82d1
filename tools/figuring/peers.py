"""What people would write instead of levelhead. Run as a process of its own.

``peers.py KIND BROKER_PORT TTY...`` with KIND:

- ``readline``: a thread a port, pyserial's readline, floats, a list, one JSON publish a line;
- ``waiting``: the same, but each read takes all that waits (the better script);
- ``relay``: bytes only: each read is published raw, nothing between.
"""

import json
import sys
import threading
import time

import paho.mqtt.client as mqtt
import serial


def lines(port):
    while True:
        yield port.readline()


def waiting(port):
    rest = b""
    while True:
        rest += port.read(port.in_waiting or 1)
        *whole, rest = rest.split(b"\n")
        yield from whole


def script(client, path, take):
    port = serial.Serial(path, timeout=1)
    kept = []
    for line in take(port):
        try:
            values = [float(cell) for cell in line.split(b",")]
        except ValueError:
            continue
        kept.append(values)
        del kept[:-1000]
        payload = json.dumps({"t": time.time(), "values": values})
        client.publish(f"script/{path[5:]}", payload)


def relay(client, path):
    port = serial.Serial(path, timeout=1)
    while True:
        data = port.read(port.in_waiting or 1)
        if data:
            client.publish("relay", data)


def main():
    kind, broker, *paths = sys.argv[1:]
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", int(broker))
    client.loop_start()
    work = {
        "readline": lambda path: script(client, path, lines),
        "waiting": lambda path: script(client, path, waiting),
        "relay": lambda path: relay(client, path),
    }[kind]
    threads = [threading.Thread(target=work, args=(path,), daemon=True) for path in paths]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


if __name__ == "__main__":
    main()
