"""``levelhead serve`` as a process of its own, on a real pty, heard by a client of its broker."""

import signal
import socket

from calibration.records.text import dump_record
from ingest.commands.demo_rig import record_of
from ingest.simulator.draws import draw_calibration, draw_head
from tests.rig.serving import PATIENCE_S, process


def test_values_come_and_sigterm_says_goodbye(serving, head_path):
    service, ear = serving(head_path)
    _, reading = ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    assert reading["value"] is not None
    assert (reading["q"], reading["why"], reading["unit"]) == ("uncertain", "uncalibrated", "deg")
    _, status = ear.wait(lambda t, f: t == "svc/status" and f.get("heads") == 1, "the birth")
    assert status["state"] == "online"
    service.send_signal(signal.SIGTERM)
    _, status = ear.wait(lambda t, f: t == "svc/status" and f.get("state") == "offline", "goodbye")
    assert (status["why"], status["q"]) == ("stopped", "stale")
    _, errors = service.communicate(timeout=PATIENCE_S)
    assert service.returncode == 0
    assert "Traceback" not in errors


def test_a_record_with_a_changed_byte_is_refused_by_name(serving, head_path, tmp_path):
    known = draw_calibration(5, "head-1", draw_head(5, "head-1"))
    text = dump_record(record_of(1, known)).replace('"stub_m": 0.25', '"stub_m": 0.26')
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "head-1.json").write_text(text, encoding="utf-8")
    _, ear = serving(head_path, 'records_dir = "records"\n')
    _, reading = ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    assert (reading["q"], reading["why"]) == ("uncertain", "record-refused")
    _, alert = ear.wait(lambda t, f: t == f"svc/alert/record-{known.head}", "the alert")
    assert f"{folder / 'head-1.json'}: altered after it was sealed" in alert["text"]
    _, note = ear.wait(lambda t, f: t == "svc/alert/records-keys", "the note")
    assert note["level"] == "note"
    assert "signatures are not checked" in note["text"]
    assert "guards against accidents only" in note["text"]
    assert note["text"].endswith("seal it anew")


def test_a_study_with_a_changed_byte_is_refused_by_name(serving, head_path, tmp_path):
    (tmp_path / "study.json").write_text(
        '{"format": "levelhead-bay-study", "version": 1, "bay": "pit", "sha256": "0"}'
    )
    _, ear = serving(head_path, 'study = "study.json"\n')
    _, alert = ear.wait(lambda t, f: t == "svc/alert/bay-study", "the alert")
    assert f"{tmp_path / 'study.json'}: altered after it was sealed" in alert["text"]
    _, meta = ear.wait(lambda t, f: t == "svc/meta", "the description")
    assert meta["spread"] == "assumed spread of the bay"


def test_a_port_that_is_missing_at_first_is_said_and_taken_when_it_comes(
    serving, head_path, tmp_path
):
    link = tmp_path / "head"
    _, ear = serving(link)
    _, alert = ear.wait(lambda t, f: t == "svc/alert/link-1" and f, "the alert")
    assert str(link) in alert["text"]
    link.symlink_to(head_path)
    ear.wait(lambda t, f: t.endswith("/incl_y"), "a reading")
    ear.wait(lambda t, f: t == "svc/alert/link-1" and not f, "the alert taken back")


def test_a_broker_port_in_use_is_one_line(tmp_path):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        config = tmp_path / "pit.toml"
        held_port = held.getsockname()[1]
        config.write_text(f"[broker]\nport = {held_port}\n")
        service = process("ingest.cli", "serve", str(config))
        _, errors = service.communicate(timeout=PATIENCE_S)
    assert service.returncode == 2
    assert errors.startswith("levelhead serve: ")
    assert f"port {held_port}" in errors
    assert errors.count("\n") == 1
