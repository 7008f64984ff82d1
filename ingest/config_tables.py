"""The tables and keys of the configuration file: types, defaults, and what each means.

The words stand here alone; ``levelhead config keys`` prints them.
"""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from ingest.config_heads import HeadTable, Table

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Length = Annotated[float, Field(gt=0, le=100)]
Turned = Annotated[float, Field(gt=0, le=120)]
PortM = tuple[Annotated[float, Field(ge=-2, le=2)], Annotated[float, Field(ge=-2, le=2)]]
Port = Annotated[int, Field(ge=0, le=65535)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]


class BayTable(Table):
    """Its name, where things are kept, what it measures."""

    name: Name = "bay1"
    """The bay's level in every topic."""
    state_file: Path = Path("levelhead.db")
    """Head names, calibration records, what was published, checks on the bar."""
    records_dir: Path | None = None
    """Folder of calibration records (JSON) that are taken up at the start."""
    study: Path | None = None
    """The study of this bay (JSON); what it found takes the place of what is assumed below."""
    network: Path | tuple[Path, ...] = ()
    """The sightline network of the vehicle (JSON), whose observations name the channels that
    heads read them on; a list where a tractor and its trailer have one each."""
    level: Path | None = None
    """The survey of the empty bay's standing points (JSON, see levelhead level); camber and caster
    are then told against the plane through them, else against gravity alone."""
    cross_port_m: PortM = (0.0, 0.0)
    """Where the sightlines across start, forward and outward of the hub, of heads whose records do
    not say so: for the networks of a job."""
    track_port_m: PortM = (0.0, 0.0)
    """The same of the sightlines along the vehicle."""
    cross_line_m: Length = 2.0
    """Length of a sightline across the vehicle, port to port, roughly."""
    clamp_offset_mm: Annotated[float, Field(gt=0, le=50)] = 2.0
    """How far off centre clamps sit on the rim (root mean square): what a short roll leans on,
    and where the sightlines of a network start."""
    spread_camber_deg: NotNegative = 0.02
    """What mounting and settling scatter in camber (standard uncertainty), assumed."""
    spread_heading_deg: NotNegative = 0.02
    """The same in a wheel's heading."""
    port_height_m: NotNegative = 0.01
    """How far the two ports of a sightline may differ in height (standard uncertainty)."""
    seat_m: NotNegative = 0.001
    """How far in or out a clamp sits on its wheel (standard uncertainty), assumed."""


class BrokerTable(Table):
    """The MQTT broker. Without a host it is the embedded one, on loopback alone."""

    host: str | None = None
    """Name or address of a broker of your own."""
    port: Port = 1883
    """Its port, or that of the embedded one."""
    websocket_port: Port | None = None
    """A port of the embedded broker for pages in browsers."""
    user: str | None = None
    """Whom to log in as."""
    password_file: Path | None = None
    """A file with the password alone, readable by nobody else."""
    tls: bool = False
    """Encrypt, and check the broker's certificate."""
    ca_file: Path | None = None
    """Who is trusted to have signed it (PEM), where the system does not know them."""
    cert_file: Path | None = None
    """Our own certificate (PEM), where the broker asks for one."""
    key_file: Path | None = None
    """The private key of it (PEM)."""
    client_id: str = ""
    """Must be this service's alone; empty: made up from the bay and the start."""
    plain: bool = False
    """Say readings and results again under val/, as short lines for the smallest clients."""


class ChainTable(Table):
    """The filter chain; a stage is left out by its switch."""

    output_hz: Positive = 10.0
    """Values a second after the filters; 10 Hz takes out mains hum of 50 and 60 Hz."""
    despike: bool = True
    """Replace single samples that stand out from their neighbours."""
    despike_threshold_sigma: Positive = 5.0
    """How far a sample must stand out."""
    settle_window_s: Positive = 0.8
    """At rest: for so long no angle has spread by more than the following."""
    settle_tilt_deg: Positive = 0.05
    """Inclinations, largest less smallest."""
    settle_azimuth_deg: Positive = 0.05
    """Sightlines."""
    settle_turn_deg: Positive = 0.15
    """Rotation and turn plate."""


class TurnTable(Table):
    """How a turn of a wheel is taken and judged."""

    new_angle_deg: Turned = 15.0
    """A rest is a stop of its own when the wheel stands this far from the stop before."""
    least_rest_s: Positive = 0.3
    """Shortest time of stillness (after it was found still) that makes a stop."""
    stop_sigma_deg: Positive = 0.01
    """How well a stop repeats beside its own noise (standard uncertainty), assumed."""
    max_u_deg: Positive = 0.05
    """A turn that leaves more standard uncertainty in the camber is refused."""
    wanted_u_deg: Positive = 0.01
    """What a turn is to reach: says how much further to turn."""


class SweepTable(Table):
    """How a steering sweep is made and fitted."""

    target_deg: Annotated[float, Field(ge=5, le=60)] = 20.0
    """How far the wheels are to be steered to each side."""
    axle_roll: bool = True
    """Fit the roll of a beam axle as it is steered; false where the axle does not roll."""
    max_u_deg: Positive = 0.15
    """A sweep whose noise leaves more standard uncertainty in caster or SAI is refused."""
    play_deg: NotNegative = 0.03
    """What the kingpins' play leaves open in caster and SAI (standard uncertainty), assumed."""
    straight_deg: NotNegative = 0.3
    """How well wheels stand straight ahead where no network tells their toe (the same), assumed."""
    kingpin_m: NotNegative = 0.22
    """How far inboard of the hub face kingpins pass: counts where sightlines tell the steering."""
    u_kingpin_m: NotNegative = 0.08
    """How well that is known; 30 mm are worth 0.1 deg of caster. Measure it, and say 0.01."""


class LiveTable(Table):
    """When live readings are published."""

    min_s: Positive = 0.1
    """No reading sooner after the one before."""
    max_s: Positive = 1.0
    """A reading that does not change is said again after so long."""
    ttl_s: Positive = 3.0
    """A display must not show a reading that is older."""
    silent_s: Positive = 2.0
    """A head that has sent nothing valid for so long is opened anew."""


class CalibrationTable(Table):
    """Which calibration records are believed."""

    keys: tuple[Path, ...] = ()
    """Public keys (PEM); with any, only records signed by one of them are used. Without, a record's
    seal guards against accidents only: anybody can change a record and seal it anew."""
    simulated: bool = False
    """The heads of this bay are simulated: only then are records marked SIMULATED used, and an
    alert says that no vehicle is measured."""


class JobTable(Table):
    """Who may lead a job."""

    technicians: tuple[Name, ...] = ()
    """Names at the broker of those who may ask for things in a job. Each asks under
    ``cmd/<command>/<name>``, and the broker's permissions keep others from using that topic. Empty:
    whoever may send commands. Not with the embedded broker, which has no users."""


class ConfigFile(Table):
    """The whole file."""

    bay: BayTable = BayTable()
    broker: BrokerTable = BrokerTable()
    head: tuple[HeadTable, ...] = ()
    chain: ChainTable = ChainTable()
    turn: TurnTable = TurnTable()
    sweep: SweepTable = SweepTable()
    live: LiveTable = LiveTable()
    calibration: CalibrationTable = CalibrationTable()
    job: JobTable = JobTable()
