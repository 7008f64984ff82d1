"""So many displays as a process of their own: MQTT through the page server's WebSocket.

``displays.py WEB_PORT COUNT`` prints a line when all hear something, and at the end of its input
how many messages a second the one that hears least has heard.
"""

import json
import sys
import threading
import time

import paho.mqtt.client as mqtt

BRANCHES = ("svc/#", "head/#", "axle/#", "vehicle/#", "job/#", "cal/#", "evt/job")


def main():
    port, count = int(sys.argv[1]), int(sys.argv[2])
    heard, ready, clients = [0] * count, [threading.Event() for _ in range(count)], []
    for n in range(count):
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, transport="websockets")
        client.ws_set_options(
            "/mqtt", {"Origin": f"http://127.0.0.1:{port}", "Host": f"127.0.0.1:{port}"}
        )

        def take(_client, _data, _message, n=n):
            heard[n] += 1
            ready[n].set()

        client.on_message = take
        client.on_connect = lambda c, *_: c.subscribe(
            [(f"levelhead/v1/bay1/{each}", 0) for each in BRANCHES]
        )
        client.connect("127.0.0.1", port)
        client.loop_start()
        clients.append(client)
    for each in ready:
        if not each.wait(20):
            raise SystemExit("displays: one hears nothing")
    before, began = list(heard), time.monotonic()
    print("all hear", flush=True)
    sys.stdin.read()
    took_s = time.monotonic() - began
    least = min((now - then for now, then in zip(heard, before, strict=True)), default=0)
    print(json.dumps({"least_per_s": least / took_s}), flush=True)


if __name__ == "__main__":
    main()
