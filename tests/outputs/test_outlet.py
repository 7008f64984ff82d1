"""The outlet on real brokers; mosquitto's own clients are the foreign peers."""

import asyncio
import json
import socket
import subprocess

import pytest

from ingest.core.errors import OutputError
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings
from ingest.outputs.broker_state import BrokerCondition
from ingest.outputs.settings import BrokerSettings

pytestmark = pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"  # see the fixture sweep
)


def of(messages, topic):
    return [json.loads(p) for t, p, _ in messages if t == topic and p]


def test_birth_comes_after_the_descriptions_and_a_clean_stop_says_so(kit, any_broker):
    async def story():
        async with any_broker() as settings, kit.heard(settings) as (messages, _):
            bench = kit.bench(settings)
            async with kit.running(bench):
                bench.state(kit.topics.meta, b'{"bay":"t"}')
                await kit.until(lambda: of(messages, kit.topics.status))
                await kit.until(lambda: of(messages, kit.topics.meta))
            await kit.until(lambda: of(messages, kit.topics.status)[-1]["state"] == "offline")
            order = [t for t, p, _ in messages if p]
            return order, of(messages, kit.topics.status)

    order, statuses = asyncio.run(story())
    assert statuses[0]["state"] == "online"
    assert statuses[-1] == {"state": "offline", "boot": "b-1", "why": "stopped"}
    assert order.index("levelhead/v1/t/svc/meta") < order.index("levelhead/v1/t/svc/status")


def test_a_cut_connection_is_told_by_the_will(kit, any_broker):
    async def story():
        async with any_broker() as settings, kit.heard(settings) as (messages, _):
            bench = kit.bench(settings)
            task = asyncio.create_task(bench.make().run())
            await kit.until(lambda: of(messages, kit.topics.status))
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            await kit.until(lambda: of(messages, kit.topics.status)[-1]["state"] == "offline")
            return of(messages, kit.topics.status)[-1]

    assert asyncio.run(story()) == {"state": "offline", "boot": "b-1", "why": "connection-lost"}


def test_retained_messages_reach_a_late_listener_only_where_it_subscribed(kit, any_broker):
    async def story():
        async with any_broker() as settings:
            bench = kit.bench(settings)
            async with kit.running(bench) as outlet:
                bench.state(kit.topics.head_status("a"), b'{"n":1}')
                bench.state(kit.topics.head_status("b"), b'{"n":2}')
                await kit.until(lambda: outlet.sent.acknowledged >= 3)
                async with (
                    kit.heard(settings),
                    kit.heard(settings, [kit.topics.head_status("a")]) as (late, _),
                ):
                    await kit.until(lambda: late)
                    await asyncio.sleep(0.3)
                    return list(late)

    late = asyncio.run(story())
    assert late == [("levelhead/v1/t/head/a/status", b'{"n":1}', True)]


def test_a_command_gets_one_reply_where_it_asked_for_it(kit, any_broker):
    async def story():
        async with any_broker() as settings, kit.heard(settings) as (_, listener):
            bench = kit.bench(settings)
            async with kit.running(bench) as outlet:
                await kit.until(lambda: outlet.connected)
                asked = asyncio.create_task(listener.ask("turn-begin", head="alder"))
                await kit.until(lambda: bench.requests)
                request = bench.requests[0]
                answer = {"t": "2026-01-01T00:00:00.000000000Z", "id": request.command.id}
                answer |= {"ok": True, "code": "ok", "text": "go", "retry_s": None}
                outlet.reply(request, json.dumps(answer).encode())
                return request, await asked

    request, reply = asyncio.run(story())
    assert (request.name, request.command.head, reply.ok) == ("turn-begin", "alder", True)


@pytest.mark.parametrize(
    ("payload", "code"),
    [(b"{", "bad-json"), (b'{"id":"c1"}', "bad-field"), (b"x" * 5000, "too-large")],
)
def test_a_broken_command_disturbs_nothing_and_is_counted(kit, any_broker, payload, code):
    async def story():
        async with any_broker() as settings, kit.heard(settings) as (_, listener):
            bench = kit.bench(settings)
            async with kit.running(bench) as outlet:
                await kit.until(lambda: outlet.connected)
                listener._client.publish(kit.topics.command("turn-begin"), payload, qos=0)
                await kit.until(lambda: outlet.inbox.bad_commands)
                return bench.requests, outlet.connected

    assert asyncio.run(story()) == ([], True)


def test_a_retained_command_is_ignored(kit, any_broker):
    async def story():
        async with any_broker() as settings, kit.heard(settings) as (messages, listener):
            topic = kit.topics.command("turn-begin")
            listener._client.publish(topic, b'{"id":"c1","head":"a"}', qos=1, retain=True)
            await kit.until(lambda: any(t == topic for t, _, _ in messages))
            bench = kit.bench(settings)
            async with kit.running(bench) as outlet:
                await kit.until(lambda: outlet.inbox.retained_commands)
                return bench.requests

    assert asyncio.run(story()) == []


@pytest.mark.real
def test_a_broker_that_dies_and_comes_back_is_told_everything_again(kit, mosquitto):
    async def story():
        broker = mosquitto()
        settings = BrokerSettings(port=broker.port)
        bench = kit.bench(settings)
        async with kit.running(bench) as outlet:
            bench.state(kit.topics.head_status("a"), b'{"n":1}')
            await kit.until(lambda: bench.states)
            broker.start()
            await kit.until(lambda: outlet.connected)
            await kit.until(lambda: outlet.sent.acknowledged >= 2)
            broker.kill()
            await kit.until(lambda: not outlet.connected)
            bench.state(kit.topics.head_status("b"), b'{"n":2}')
            broker.start()
            await kit.until(lambda: outlet.connected)
            async with kit.heard(settings) as (messages, _):
                wanted = {f"levelhead/v1/t/head/{h}/status" for h in "ab"} | {kit.topics.status}
                await kit.until(lambda: wanted <= {t for t, _, _ in messages})
        return [state.condition for state in bench.states]

    conditions = asyncio.run(story())
    assert conditions[0] is BrokerCondition.UNREACHABLE
    assert conditions.count(BrokerCondition.CONNECTED) == 2


@pytest.mark.real
def test_a_refusing_broker_is_said_once(kit, mosquitto, tmp_path):
    async def story():
        passwords = tmp_path / "passwords"
        passwords.write_text("")
        lines = ["allow_anonymous false", f"password_file {passwords}"]
        broker = mosquitto(lines).start()
        settings = BrokerSettings(port=broker.port, user="svc", password="wrong")
        bench = kit.bench(settings)
        async with kit.running(bench) as outlet:
            await kit.until(lambda: bench.states)
            await asyncio.sleep(0.8)
            return outlet.connected, [state.condition for state in bench.states]

    assert asyncio.run(story()) == (False, [BrokerCondition.REFUSED])


@pytest.mark.real
def test_mosquittos_own_clients_hear_and_ask(kit, mosquitto, real_part):
    # A foreign client on MQTT 3.1.1 hears; one on MQTT 5 asks with a response topic.
    sub, rr = real_part("mosquitto_sub"), real_part("mosquitto_rr")

    async def story():
        broker = mosquitto().start()
        bench = kit.bench(BrokerSettings(port=broker.port))
        async with kit.running(bench) as outlet:
            await kit.until(lambda: outlet.connected)
            bench.state(kit.topics.head_status("a"), b'{"n":1}')
            await kit.until(lambda: outlet.sent.acknowledged >= 2)
            topic, common = kit.topics.head_status("a"), ["-p", str(broker.port)]
            listening = [sub, *common, "-V", "311", "-t", topic, "-C", "1", "-W", "10"]
            heard = await asyncio.to_thread(subprocess.run, listening, capture_output=True)
            asking = [rr, *common, "-V", "5", "-t", kit.topics.command("identify")]
            asking += ["-e", kit.topics.reply("me"), "-m", '{"id":"c9","head":"a"}', "-W", "10"]
            asked = asyncio.create_task(asyncio.to_thread(subprocess.run, asking, capture_output=1))
            await kit.until(lambda: bench.requests)
            outlet.reply(bench.requests[0], b'{"id":"c9","ok":true}')
            return heard.stdout, (await asked).stdout

    heard, answer = asyncio.run(story())
    assert heard.strip() == b'{"n":1}'
    assert json.loads(answer) == {"id": "c9", "ok": True}


@pytest.mark.real
def test_tls_holds_with_the_right_authority_and_is_refused_without(
    kit, mosquitto, real_part, tmp_path
):
    key, cert = tmp_path / "key.pem", tmp_path / "cert.pem"
    making = [real_part("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    making += ["-keyout", str(key), "-out", str(cert), "-subj", "/CN=localhost"]
    making += ["-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    subprocess.run(making, check=True, capture_output=True)
    key.chmod(0o644)

    async def story():
        lines = ["allow_anonymous true", f"certfile {cert}", f"keyfile {key}"]
        broker = mosquitto(lines).start()
        trusting = kit.bench(BrokerSettings(port=broker.port, tls=True, ca_file=cert))
        async with kit.running(trusting) as outlet:
            await kit.until(lambda: outlet.connected)
        doubting = kit.bench(BrokerSettings(port=broker.port, tls=True))
        async with kit.running(doubting) as outlet:
            await kit.until(lambda: doubting.states)
            return outlet.connected, doubting.states[0].condition

    assert asyncio.run(story()) == (False, BrokerCondition.REFUSED)


def test_small_packets_leave_at_once(kit, any_broker):
    async def story():
        async with any_broker() as settings:
            bench = kit.bench(settings)
            async with kit.running(bench) as outlet:
                await kit.until(lambda: outlet.connected)
                sock = outlet._sender._connection._client.socket()
                return sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)

    assert asyncio.run(story()) != 0


def test_a_silent_older_broker_is_met_with_version_3_1_1(kit):
    async def story():
        broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
        await broker.start()
        bench = kit.bench(BrokerSettings(port=broker.port, connect_timeout_s=0.5))
        async with kit.running(bench) as outlet:
            await kit.until(lambda: outlet.connected)
            text = bench.states[-1].text
        await broker.stop()
        return text

    assert asyncio.run(story()).endswith("MQTT 3.1.1")


def test_a_taken_port_is_named(kit):
    async def story():
        first = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
        await first.start()
        try:
            with pytest.raises(OutputError, match=str(first.port)):
                await EmbeddedBroker(EmbeddedBrokerSettings(port=first.port)).start()
        finally:
            await first.stop()

    asyncio.run(story())
