"""``levelhead demo --ble`` where its bus is not installed."""

from ingest.cli import main


def test_the_missing_bus_is_named_in_one_line(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert main(["demo", "--ble"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "dbus-daemon" in said
    assert "apt-get install" in said
