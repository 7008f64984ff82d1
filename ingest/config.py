"""The configuration file: TOML turned into frozen settings, checked before any port is opened.

Key names carry units. An unknown key is an error, since a misspelt one would be silent.
"""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, ValidationError

from calibration.errors import CalibrationFileError
from calibration.faults import fault_of
from calibration.toml import NotToml, parse_toml
from ingest.chain.chain import ChainSettings
from ingest.chain.decimate import DecimateSettings
from ingest.chain.despike import DespikeSettings
from ingest.chain.settle import SettleSettings
from ingest.config_heads import LinkSettings, Table, link_of, refuse_twins
from ingest.config_tables import (
    BayTable,
    BrokerTable,
    ChainTable,
    ConfigFile,
    LiveTable,
    TurnTable,
)
from ingest.core.errors import ConfigError, MeasurementRefused
from ingest.core.reading import read_file
from ingest.outputs.broker import EmbeddedBrokerSettings
from ingest.outputs.settings import BrokerSettings
from ingest.payload.level_file import LevelFile, load_level
from ingest.payload.network_file import NetworkFile, NetworkFileError, parse_network_file
from ingest.payload.network_live import live_network_of, refuse_shared_wheels
from ingest.service.baysettings import BaySettings
from ingest.service.bayspread import SpreadSettings
from ingest.service.linkkeeper import KeeperSettings
from ingest.service.live import LiveSettings
from ingest.service.network import NetworkSettings
from ingest.service.service import ServiceSettings
from ingest.service.sweepfit import SweepSettings
from ingest.service.turns import TurnSettings
from ingest.service.watchdog import WatchdogSettings
from ingest.service.wheelsettings import WheelSettings

NO_KEYS = (
    "signatures are not checked, as no [calibration] keys are named; their seal guards against "
    "accidents only: anybody can change one and seal it anew"
)
NO_FOLDER = "no such folder; make it and put calibration records (JSON) in, or leave the key out"

NO_STUDY = "no such file; levelhead study -o makes one, or leave the key out"


class Config(Table):
    """Settings of everything, ready to be wired."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    bay: str
    state_file: Path
    records_dir: Path | None
    study: Path | None
    keys: tuple[Path, ...]
    networks: tuple[Path, ...]
    embedded: EmbeddedBrokerSettings | None
    broker: BrokerSettings
    plain: bool
    service: ServiceSettings
    links: tuple[LinkSettings, ...]


def load_config(path: Path) -> Config:
    """Read a configuration. Raises ``ConfigError`` naming file, key, value and what is allowed.

    Relative paths in it are relative to the file.
    """
    where = str(path)
    try:
        found = parse_toml(read_file(path).decode("utf-8"))
    except OSError as error:
        raise ConfigError(where, "file", where, error.strerror or "cannot be read") from error
    except (UnicodeDecodeError, NotToml) as error:
        told = str(error).removeprefix("not TOML: ")
        raise ConfigError(where, "file", path.name, f"not TOML in UTF-8: {told}") from error
    try:
        read = ConfigFile.model_validate(found)
    except ValidationError as error:
        raise _first_fault(where, found, error) from error
    return _settings(where, path.parent, read)


def _first_fault(where: str, found: dict[str, Any], error: ValidationError) -> ConfigError:
    fault = fault_of(error, found, ConfigFile)
    if fault.keys == ("head",):
        told = "a list of tables: write [[head]], with two brackets"
        return ConfigError(where, fault.place, fault.value, told)
    return ConfigError(where, fault.place or "file", fault.value, fault.allowed)


def _settings(where: str, folder: Path, read: ConfigFile) -> Config:
    links = tuple(link_of(where, at, head) for at, head in enumerate(read.head))
    refuse_twins(where, read.head)
    records = None if read.bay.records_dir is None else folder / read.bay.records_dir
    if records is not None and not records.is_dir():
        raise ConfigError(where, "bay.records_dir", records, NO_FOLDER)
    state_file = folder / read.bay.state_file
    if not state_file.parent.is_dir():
        raise ConfigError(where, "bay.state_file", state_file, "its folder is not there; make it")
    study = None if read.bay.study is None else folder / read.bay.study
    if study is not None and not study.is_file():
        raise ConfigError(where, "bay.study", study, NO_STUDY)
    keys = tuple(folder / path for path in read.calibration.keys)
    for path in keys:
        if not path.is_file():
            raise ConfigError(where, "calibration.keys", path, "no such file")
    return Config(
        bay=read.bay.name,
        state_file=state_file,
        records_dir=records,
        study=study,
        keys=keys,
        networks=tuple(folder / path for path in _networks_of(read.bay)),
        embedded=_embedded(where, read.broker),
        broker=_broker(where, folder, read.broker),
        plain=read.broker.plain,
        service=_service(where, folder, read),
        links=links,
    )


def _embedded(where: str, table: BrokerTable) -> EmbeddedBrokerSettings | None:
    if table.host is not None:
        return None
    for name in ("user", "password_file", "ca_file", "cert_file", "key_file"):
        if getattr(table, name) is not None:
            value = getattr(table, name)
            raise ConfigError(where, f"broker.{name}", str(value), "only with a host of its own")
    return EmbeddedBrokerSettings(port=table.port, websocket_port=table.websocket_port)


def _people(where: str, read: ConfigFile) -> tuple[str, ...]:
    """Return who may lead a job: names mean nothing at a broker that asks nobody for a password."""
    people = read.job.technicians
    if people and read.broker.host is None:
        reason = "leave it out: the embedded broker has no users; it takes a broker of your own"
        raise ConfigError(where, "job.technicians", ", ".join(people), reason)
    return people


def _broker(where: str, folder: Path, table: BrokerTable) -> BrokerSettings:
    if table.host is None:
        return BrokerSettings()
    files: dict[str, Any] = {
        name: None if getattr(table, name) is None else folder / getattr(table, name)
        for name in ("password_file", "ca_file", "cert_file", "key_file")
    }
    for name, path in files.items():
        if path is not None and not path.is_file():
            raise ConfigError(where, f"broker.{name}", path, "no such file")
    try:
        return BrokerSettings(
            host=table.host,
            port=table.port,
            user=table.user,
            tls=table.tls,
            client_id=table.client_id,
            **files,
        )
    except ConfigError as error:
        raise ConfigError(where, f"broker.{error.field}", error.value, error.allowed) from error


def _service(where: str, folder: Path, read: ConfigFile) -> ServiceSettings:
    return ServiceSettings(
        bay=BaySettings(
            _chain(where, read.chain),
            _live(where, read.live),
            _wheel(read.bay, read.turn),
            _networks(where, folder, read.bay),
            SweepSettings(**read.sweep.model_dump()),
            _level(where, folder, read.bay),
            read.calibration.simulated,
            read.bay.cross_port_m,
            read.bay.track_port_m,
        ),
        keeper=KeeperSettings(watchdog=WatchdogSettings(limit_s=read.live.silent_s)),
        people=_people(where, read),
    )


def _networks_of(bay: BayTable) -> tuple[Path, ...]:
    return (bay.network,) if isinstance(bay.network, Path) else bay.network


def _networks(where: str, folder: Path, bay: BayTable) -> NetworkSettings:
    """Read the network files: their content, so that a capture holds it."""
    files: list[NetworkFile] = []
    for path in _networks_of(bay):
        try:
            files.append(parse_network_file(read_file(folder / path).decode("utf-8-sig")))
            live_network_of(files[-1])
            refuse_shared_wheels(files)
        except OSError as error:
            reason = f"{error.strerror or 'cannot be read'}; see levelhead network"
            raise ConfigError(where, "bay.network", folder / path, reason) from error
        except (NetworkFileError, UnicodeDecodeError) as error:
            raise ConfigError(where, "bay.network", folder / path, str(error)) from error
    return NetworkSettings(tuple(files))


def _level(where: str, folder: Path, bay: BayTable) -> LevelFile | None:
    """Read the survey of the standing points: its content, so that a capture holds it.

    One that is overdue is taken: what stands on it says so.
    """
    if bay.level is None:
        return None
    path = folder / bay.level
    try:
        level = load_level(path.read_text(encoding="utf-8"), str(path))
        level.plane()
    except OSError as error:
        reason = f"{error.strerror or 'cannot be read'}; see levelhead level"
        raise ConfigError(where, "bay.level", path, reason) from error
    except CalibrationFileError as error:
        raise ConfigError(where, "bay.level", path, error.reason) from error
    except (MeasurementRefused, UnicodeDecodeError) as error:
        raise ConfigError(where, "bay.level", path, str(error)) from error
    if level.bay != bay.name:
        reason = f"is the survey of {level.bay}, and this bay is {bay.name}"
        raise ConfigError(where, "bay.level", path, reason)
    return level


def _chain(where: str, table: ChainTable) -> ChainSettings:
    despike = None
    if table.despike:
        with _naming(where, "chain.despike_"):
            despike = DespikeSettings(threshold_sigma=table.despike_threshold_sigma)
    with _naming(where, "chain."):
        decimate = DecimateSettings(output_hz=table.output_hz)
    with _naming(where, "chain.settle_"):
        settle = SettleSettings(
            window_s=table.settle_window_s,
            tilt_deg=table.settle_tilt_deg,
            azimuth_deg=table.settle_azimuth_deg,
            turn_deg=table.settle_turn_deg,
        )
    return ChainSettings(despike=despike, decimate=decimate, settle=settle)


@contextlib.contextmanager
def _naming(where: str, prefix: str) -> Iterator[None]:
    """Name what a stage refuses as the file spells it."""
    try:
        yield
    except ConfigError as error:
        raise ConfigError(where, prefix + error.field, error.value, error.allowed) from error


def _live(where: str, table: LiveTable) -> LiveSettings:
    try:
        return LiveSettings(min_s=table.min_s, max_s=table.max_s, ttl_s=table.ttl_s)
    except ValueError as error:
        figures = {name: getattr(table, name) for name in ("min_s", "max_s", "ttl_s")}
        raise ConfigError(where, "live", figures, str(error)) from error


def _wheel(bay: BayTable, turn: TurnTable) -> WheelSettings:
    return WheelSettings(
        turn=TurnSettings(**turn.model_dump()),
        spread=SpreadSettings(
            camber_deg=bay.spread_camber_deg,
            heading_deg=bay.spread_heading_deg,
            port_height_m=bay.port_height_m,
            seat_m=bay.seat_m,
        ),
        cross_line_m=bay.cross_line_m,
        clamp_offset_m=bay.clamp_offset_mm * 1e-3,
    )
