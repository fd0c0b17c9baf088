"""Stations: the sensors of the day, where they stand, how they are reached and what their calibration says."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from config.model import Name, NotNegative, Point, Positive, Table

AsTyped = Annotated[str, StringConstraints(strip_whitespace=False)]
"""Text whose blanks and line ends count."""

Measured = Literal[
    "heel", "trim", "wind_speed", "wind_direction", "line_tension", "temperature", "acceleration", "voltage"
]


class ChannelMap(Table):
    """How one field of a station's message becomes one quantity."""

    quantity: Measured
    field: str = Field(default="", max_length=120)
    """Field in the message: transducer name in NMEA XDR, column number or name in lines, key path in JSON
    (``tilt.roll``), record name in SenML, register name in Modbus. Empty: the only one there is."""
    unit: str = Field(default="", max_length=12)
    """Unit as sent; empty takes the dialect's word for it, else the canonical unit."""
    positive: Literal["starboard", "port", "stern", "bow", ""] = ""
    """Which side (or end) down gives a positive value; empty means starboard (heel) or stern (trim)."""
    factor: float = 1.0
    """Multiplies the value as sent, before the unit is applied (for example 0.001 for raw counts)."""
    offset: float = 0.0
    """Added after ``factor``, in the unit as sent."""


class LineFormat(Table):
    """How to cut a delimited ASCII line."""

    delimiter: AsTyped = Field(default=",", min_length=1, max_length=3)
    """Field delimiter; ``" "`` stands for any white space."""
    columns: tuple[str, ...] = ()
    """Names of the columns in order; empty: refer to columns by number from 1."""
    prefix: str = ""
    """A line not starting with this is no reading."""
    time_column: str = ""
    """Column holding the device time; empty if there is none."""
    time_format: Literal["unix_s", "unix_ms", "unix_us", "unix_ns", "rfc3339"] = "unix_s"
    decimal_comma: bool = False


class SerialSource(Table):
    """A serial port or a pyserial URL (``loop://``, ``rfc2217://host:port``)."""

    type: Literal["serial"]
    port: str = Field(min_length=1)
    """``COM4``, ``/dev/ttyUSB0``, ``/dev/cu.usbserial-1`` or a URL."""
    baud: int = Field(default=9600, gt=0)
    bytesize: Literal[7, 8] = 8
    parity: Literal["N", "E", "O"] = "N"
    stopbits: Literal[1, 2] = 1
    usb_serial: str = ""
    """USB serial number of the adapter: found again under any port name after replugging."""
    poll: AsTyped = ""
    """Text sent once each ``poll_s`` to a device that speaks only when asked; empty: it talks by itself."""
    poll_s: Positive = 0.1


class TcpSource(Table):
    """A serial server or a device that speaks over TCP."""

    type: Literal["tcp"]
    host: str = Field(min_length=1)
    port: int = Field(gt=0, lt=65536)


class MqttSource(Table):
    """A topic at the broker of the plan's ``[broker]`` table."""

    type: Literal["mqtt"]
    topic: str = Field(min_length=1, max_length=256)


class RegisterMap(Table):
    """One value in a Modbus device."""

    name: str
    """Referred to by a channel's ``field``."""
    address: int = Field(ge=0, le=65535)
    kind: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int16"
    table: Literal["holding", "input"] = "input"
    word_order: Literal["big", "little"] = "big"


class ModbusSource(Table):
    """Modbus RTU registers polled over a serial line."""

    type: Literal["modbus"]
    port: str = Field(min_length=1)
    baud: int = Field(default=19200, gt=0)
    parity: Literal["N", "E", "O"] = "E"
    stopbits: Literal[1, 2] = 1
    usb_serial: str = ""
    unit_address: int = Field(ge=1, le=247)
    poll_s: Positive = 0.1
    registers: tuple[RegisterMap, ...] = Field(min_length=1)


class PlaybackSource(Table):
    """A recorded run played again as if it happened now."""

    type: Literal["playback"]
    run: str
    """Folder of the run, relative to the test folder."""
    speed: Positive = 1.0


class ManualSource(Table):
    """Readings typed in by a person: a pendulum in its trough, a U-tube."""

    type: Literal["manual"]


Source = Annotated[
    SerialSource | TcpSource | MqttSource | ModbusSource | PlaybackSource | ManualSource,
    Field(discriminator="type"),
]


class Calibration(Table):
    """What is known about a station's truthfulness. Every interval is the half width at 95 % coverage."""

    made_on: date | None = None
    made_by: str = ""
    certificate: str = ""
    scale: Positive = 1.0
    """True angle divided by indicated angle; applied to the readings."""
    scale_u95_percent: NotNegative | None = None
    """Interval of ``scale``; left out, 0.5 % is assumed and the result says so."""
    zero_deg: float = 0.0
    """Indicated angle when truly upright; subtracted (cancels from GM, counts for list)."""
    zero_u95_deg: NotNegative | None = None
    drift_u95_deg_per_h: NotNegative | None = None
    """Interval of the zero's drift; left out, it is estimated from the day alone."""
    yaw_u95_deg: NotNegative | None = None
    """Interval of the mounting's yaw: how far its axis may point away from fore and aft; left out, 2 degrees."""
    noise_deg: NotNegative | None = None
    """Standard deviation of a single reading on a still bench."""
    range_deg: Positive | None = None
    """The device clips at plus and minus this."""


class Station(Table):
    """One device at one place. A station may give several quantities."""

    name: Name
    kind: Literal["inclinometer", "pendulum", "u_tube", "anemometer", "load_cell", "thermometer", "other"] = (
        "inclinometer"
    )
    position_m: Point | None = None
    length_m: Positive | None = None
    """Pendulum: from the point of suspension to the scale. U-tube: distance between the legs athwartships."""
    reading_u95_mm: NotNegative | None = None
    """Pendulum, U-tube: interval of one read deflection."""
    source: Source = ManualSource(type="manual")
    dialect: str = ""
    """How its messages are written: ``nmea``, ``lines``, ``json``, ``senml``, ``registers``; empty for manual."""
    line_format: LineFormat | None = None
    time_field: str = ""
    """JSON: key path of the device time; empty if there is none."""
    time_format: Literal["unix_s", "unix_ms", "unix_us", "unix_ns", "rfc3339"] = "rfc3339"
    channels: tuple[ChannelMap, ...] = (ChannelMap(quantity="heel"),)
    rate_hz: Positive | None = None
    """Nominal rate of each channel."""
    silence_s: Positive = 2.0
    """Silent for longer than this is said aloud."""
    mooring_line: str = ""
    """Load cell: the mooring line it measures."""
    direction_reference: Literal["bow", "north"] = "bow"
    """Anemometer: what its direction is measured from, clockwise."""
    calibration: Calibration = Calibration()

    @model_validator(mode="after")
    def _hand_read_devices_have_a_length(self) -> Station:
        if self.kind in ("pendulum", "u_tube") and self.length_m is None:
            raise ValueError("a pendulum or U-tube needs length_m")
        return self


class Broker(Table):
    """The MQTT broker of the day. Credentials come from the environment or a keyring, never from here."""

    url: str = "embedded"
    """``embedded`` (a broker of our own on loopback), ``mqtt://host:port`` or ``mqtts://host:port``."""
    protocol: Literal["3.1.1", "5"] = "5"
    client_id: str = "quietheel-logger"
    username_env: str = "QUIETHEEL_MQTT_USER"
    password_env: str = "QUIETHEEL_MQTT_PASSWORD"
    keyring_service: str = ""
    ca_file: str = ""
    client_certificate: str = ""
    client_key: str = ""
    port: int = Field(default=18830, gt=0, lt=65536)
    """Port of the embedded broker."""
