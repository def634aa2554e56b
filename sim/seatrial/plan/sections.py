"""The sections of the plan file, one model each: every key with its meaning and the hard bounds of its value."""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic_core import PydanticCustomError

from seatrial import mechanisms
from seatrial.plan.conversion import bounds_of

EARLIEST_YEAR, LATEST_YEAR = 2000, 2099


def _key(meaning: str, lowest: float | None = None, highest: float | None = None) -> Any:
    """A key of the plan: its meaning as a noun phrase, and the hard bounds of its value."""
    return Field(ge=lowest, le=highest, description=meaning)


def _ordered(order: str, meaning: str) -> Any:
    """A key that goes into the mission record: its bounds are those of `order`."""
    return _key(meaning, *bounds_of(order))


class Section(BaseModel):
    """One section of the plan file: exactly these keys, never changed after reading, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Dive(Section):
    """When it happens."""

    name: str = Field(min_length=1, max_length=80, description="the name of the dive")
    splash_utc: datetime = _key("the moment the lander goes into the water")
    on_deck_min: float = _key("the time armed on deck before the splash", 0, 2880)
    watch_after_surfacing_min: float = _key("how long the rehearsal goes on once the lander is up", 0, 20160)

    @field_validator("splash_utc", mode="before")
    @classmethod
    def _as_utc(cls, value: object) -> datetime:
        if not isinstance(value, datetime):
            raise PydanticCustomError("moment_type", "not a moment")
        if value.tzinfo is None:
            raise PydanticCustomError("moment_naive", "no zone")
        if not EARLIEST_YEAR <= value.year <= LATEST_YEAR:
            raise PydanticCustomError("moment_range", "year out of range")
        return value.astimezone(UTC)


class WaterRow(Section):
    """One depth of the water column; straight lines between rows, constant beyond the first and the last."""

    depth_m: float = _key("the depth of this row", 0, 11000)
    temperature_c: float = _key("the temperature of the water in place", -2.5, 40)
    salinity_psu: float = _key("the practical salinity of the water", 0, 42)


class CurrentRow(Section):
    """One depth of the current."""

    depth_m: float = _key("the depth of this row", 0, 11000)
    speed_m_s: float = _key("the speed of the current", 0, 5)
    toward_deg: float = _key("the true heading the current sets toward", 0, 360)


class Site(Section):
    """Where it happens."""

    latitude_deg: float = _key("the latitude of the site, north positive", -90, 90)
    longitude_deg: float = _key("the longitude of the site, east positive", -180, 180)
    depth_m: float = _key("the depth of the seabed at the site", 3, 10950)
    air_temperature_c: float = _key("the temperature of the air", -40, 50)
    air_pressure_hpa: float = _key("the pressure of the air at sea level", 860, 1090)
    swell_height_m: float = _key("the height of the swell, trough to crest", 0, 20)
    swell_period_s: float = _key("the period of the swell", 1, 30)
    mud_suction_n: float = _key("the force with which mud holds the frame back", 0, 5000)
    mud_hold_s: float = _key("how long the mud holds once it is pulled", 0, 86400)
    water: tuple[WaterRow, ...] = Field(strict=False, min_length=1, description="the water column, top row first")
    current: tuple[CurrentRow, ...] = Field(strict=False, min_length=1, description="the current, top row first")


class Floats(Section):
    """What gives lift; stays with the lander."""

    mass_kg: float = _key("the mass of the floats in air", 0, 5000)
    volume_l: float = _key("the volume of the floats at the surface", 0, 10000)
    compressibility_per_mpa: float = _key("the share of that volume lost to each MPa", 0, 0.005)


class Ballast(Section):
    """What takes the lander down; left on the seabed."""

    mass_kg: float = _key("the mass of the ballast in air", 0.1, 5000)
    density_kg_m3: float = _key("the density of the ballast", 1100, 20000)


class Lander(Section):
    """The body in the water: frame, housing, electronics."""

    mass_kg: float = _key("the mass in air without floats and ballast", 0.5, 5000)
    volume_l: float = _key("the volume displaced by the same", 0.1, 10000)
    compressibility_per_mpa: float = _key("the share of that volume lost to each MPa", 0, 0.005)
    frontal_area_m2: float = _key("the area seen from below", 0.001, 20)
    drag_coefficient_down: float = _key("the drag coefficient in the descent", 0.05, 5)
    drag_coefficient_up: float = _key("the drag coefficient in the ascent", 0.05, 5)
    added_mass_kg: float = _key("the mass of water that moves with the lander", 0, 20000)
    floats: Floats
    ballast: Ballast


class Power(Section):
    """The main pack and the controller on it."""

    capacity_ah: float = _key("the capacity of the pack, fresh and at 20 degC", 0.1, 1000)
    cells_in_series: int = _key("the number of lithium-ion cells in series", 1, 14)
    resistance_mohm: float = _key("the resistance of the whole pack at 20 degC", 1, 10000)
    resistance_factor_at_0_c: float = _key("how many times that the resistance is at 0 degC", 1, 10)
    capacity_fraction_at_0_c: float = _key("the share of the capacity left at 0 degC", 0.3, 1)
    charge_at_start_fraction: float = _key("how full the pack is when armed", 0.05, 1)
    brownout_mv: float = _key("the supply below which the controller resets", 500, 60000)
    recover_mv: float = _key("the supply above which it starts again", 500, 60000)
    boot_s: float = _key("the time from power to the first step", 0.01, 120)
    controller_ma: float = _ordered("controller_ma", "the current of the controller at work")
    controller_asleep_ma: float = _key("the current of the controller asleep", 0, 2000)


class Wire(Section):
    """Electrolytic release: a wire of stainless steel eaten by current."""

    kind: Literal["wire"]
    fire_s: float = _ordered("fire_primary_ds", "the length of one attempt")
    current_ma: float = _key("the current through the wire", 1, 50000)
    wire_diameter_mm: float = _key("the diameter of the wire", 0.05, 10)
    wire_length_mm: float = _key("the bare length of wire in the water", 0.1, 200)
    wire_density_kg_m3: float = _key("the density of the wire", 500, 25000)
    equivalent_weight: float = _key("the equivalent weight of the alloy (ASTM G102), grams a mole of charge", 1, 200)
    efficiency_fraction: float = _key("the share of the charge that erodes the wire", 0.01, 1)

    def parting_s(self) -> float:
        """Seconds of current that erode the whole bare length (Faraday's law, see `seatrial.mechanisms`)."""
        return mechanisms.Wire(self).seconds_to_open(self.current_ma)


class Latch(Section):
    """Mechanical release: a motor turns a latch open."""

    kind: Literal["latch"]
    fire_s: float = _ordered("fire_backup_ds", "the length of one attempt")
    current_ma: float = _key("the current of the motor", 1, 50000)
    turn_s: float = _key("the time the motor needs to open the latch", 0.05, 1800)


CHANNELS: dict[str, type[Section]] = {"wire": Wire, "latch": Latch}
Channel = Annotated[Wire | Latch, Field(discriminator="kind")]


class Passive(Section):
    """A corroding link, unknown to the controller: a range and never a promise."""

    fitted: bool = Field(description="whether a corroding link is fitted")
    earliest_h: float | None = Field(None, ge=0.1, le=8760, description="the earliest it may let go, from the splash")
    latest_h: float | None = Field(None, ge=0.1, le=8760, description="the latest it should let go, from the splash")


class Release(Section):
    """How the ballast is let go."""

    pause_s: float = _ordered("pause_ds", "the watch for a rise before the next attempt")
    pause_max_s: float = _ordered("pause_max_ds", "the longest such watch; they double up to this")
    attempts_planned: int = _key("the number of attempts held in the battery reserve", 2, 200)
    rise_m: float = _ordered("rise_cm", "the rise that confirms a release")
    shed_s: float = _ordered("shed_ds", "the longest time to put camera, lights and fan off")
    primary: Channel
    backup: Channel
    passive: Passive


class Camera(Section):
    """The camera, worked by its two buttons."""

    supply: Literal["main_switched", "own_pack"] = Field(description="what feeds the camera")
    feedback: Literal["none", "lamp", "current"] = Field(description="how a press is known to have worked")
    idle_ma: float = _key("the current of the camera on and not recording", 5, 20000)
    recording_ma: float = _key("the current of the camera recording", 5, 20000)
    power_press_s: float = _ordered("power_press_ds", "the long press on the power button")
    record_press_s: float = _ordered("record_press_ds", "the short press on the record button")
    start_s: float = _ordered("camera_start_ds", "the time from the power press to ready")
    stop_s: float = _ordered("camera_stop_ds", "the time to close a file")
    answer_s: float = _ordered("camera_answer_ds", "the time in which a press shows its effect")
    hot_c: float = _ordered("camera_hot_centi_c", "the temperature at which the controller puts the camera off")
    shutdown_c: float = _key("the temperature at which the camera puts itself off", 30, 150)
    cool_c: float = _ordered("camera_cool_centi_c", "the temperature below which it may start again")
    film_descent: bool = Field(description="whether the camera records from the splash on")
    card_h: float = _key("the hours of footage the card holds", 0.1, 2000)


class Lights(Section):
    """The lamps; on_s and off_s both 0: on for as long as the camera records."""

    count: int = _key("the number of lamps", 0, 100)
    current_ma: float = _ordered("lights_ma", "the current of all lamps together at full")
    level_pct: float = _ordered("lights_pct", "the level of the lamps")
    on_s: float = _ordered("lights_on_ds", "the time the lamps are on in each turn")
    off_s: float = _ordered("lights_off_ds", "the time they are then off")

    def duty_fraction(self) -> float:
        """The share of the filming time in which the lamps are on."""
        return self.on_s / (self.on_s + self.off_s) if self.on_s and self.off_s else 1.0


class Fan(Section):
    """The fan between camera and housing."""

    current_ma: float = _ordered("fan_ma", "the current of the fan")
    on_c: float = _ordered("fan_on_centi_c", "the housing temperature above which the fan is on")
    off_c: float = _ordered("fan_off_centi_c", "the housing temperature below which it is off")


class Heat(Section):
    """Where the heat goes: camera to housing to water or air."""

    housing_heat_capacity_j_k: float = _key("the heat capacity of the housing and what is fixed to it", 10, 1e6)
    camera_heat_capacity_j_k: float = _key("the heat capacity of the camera", 1, 1e5)
    camera_to_housing_w_k: float = _key("the heat flow from camera to housing in still air", 0.001, 100)
    camera_to_housing_fan_w_k: float = _key("the same with the fan on", 0.001, 100)
    housing_to_water_w_k: float = _key("the heat flow from housing to water", 0.01, 10000)
    housing_to_air_w_k: float = _key("the heat flow from housing to air", 0.01, 1000)
    camera_idle_w: float = _key("the power of the camera on and not recording", 0, 200)
    camera_recording_w: float = _key("the power of the camera recording", 0, 200)
    lights_in_housing_fraction: float = _key("the share of the lamps' power that stays inside", 0, 1)


class PressureSensor(Section):
    """The pressure sensor; beyond its range a reading stands still and looks like the seabed."""

    range_m: float = _key("the depth of water at which the sensor reaches its upper end", 5, 11500)
    resolution_mbar: float = _key("the smallest step of a reading", 0.001, 1000)
    noise_mbar: float = _key("the standard deviation of a reading", 0, 1000)
    lag_s: float = _key("the time constant of the sensor", 0, 60)


class SupplySensor(Section):
    """The monitor of supply voltage and current."""

    resolution_mv: float = _key("the smallest step of a voltage reading", 0.001, 1000)
    noise_mv: float = _key("the standard deviation of a voltage reading", 0, 1000)
    resolution_ma: float = _key("the smallest step of a current reading", 0.001, 1000)
    noise_ma: float = _key("the standard deviation of a current reading", 0, 1000)


class TemperatureSensor(Section):
    """The temperature sensors of housing and camera."""

    resolution_centi_c: float = _key("the smallest step of a reading", 0.01, 1000)
    noise_centi_c: float = _key("the standard deviation of a reading", 0, 1000)
    lag_s: float = _key("the time constant of the sensor", 0, 3600)


class Clock(Section):
    """The clock that goes on through resets."""

    set: bool = Field(description="whether the clock was set before the dive")
    drift_ppm: float = _key("the drift of the clock, fast positive", -1000, 1000)


class Sensors(Section):
    """What the controller sees by."""

    pressure: PressureSensor
    supply: SupplySensor
    temperature: TemperatureSensor
    clock: Clock


class Beacon(Section):
    """What makes the lander seen at the surface."""

    lamp_ma: float = _key("the mean current of the lamp", 0, 5000)
    report_ma: float = _key("the mean current of position reports", 0, 5000)
    hours: float = _ordered("beacon_ds", "how long the beacon must last")


class Times(Section):
    """All from the beginning of the descent."""

    timed_release_min: float = _ordered("timed_release_ds", "when the release is due")
    latest_release_min: float = _ordered("latest_release_ds", "when the release comes at the very latest")
    settle_latest_min: float = _ordered("settle_latest_ds", "from when the lander counts as on the bottom")
    slowest_ascent_min: float = _ordered("slowest_ascent_ds", "the slowest ascent thought possible")
    surface_margin_min: float = _ordered("surface_margin_ds", "what is added to it before the beacon goes on unseen")
    power_gap_min: float = _ordered("power_gap_ds", "the outage under water that ends the dive")


class Thresholds(Section):
    """Where readings become judgements."""

    submerged_m: float = _ordered("submerged_cm", "the depth that is a sign of water")
    surface_m: float = _ordered("surface_cm", "the depth above which the lander is at the surface")
    sign_hold_s: float = _ordered("sign_hold_ds", "how long a sign of water must last")
    one_sign_wait_min: float = _ordered("one_sign_wait_ds", "the time after which one sign alone is believed")
    settled_band_m: float = _ordered("settled_band_cm", "the band of depth that counts as still")
    settled_s: float = _ordered("settled_ds", "how long the lander must be still to be on the bottom")
    too_deep_m: float = _ordered("too_deep_cm", "the depth that ends the dive")
    leak_hold_s: float = _ordered("leak_hold_ds", "how long water inside must be seen")
    low_hold_s: float = _ordered("low_hold_ds", "how long a low supply must be seen")
    reserve_mv: float = _ordered("reserve_mv", "the supply under load that still holds the reserve")
    stalled_s: float = _ordered("stalled_ds", "how long an ascent that stands still is waited for")


class Magnet(Section):
    """The gesture through the closed housing."""

    hold_s: float = _ordered("magnet_hold_ds", "the shortest hold of the magnet that counts")
    hold_max_s: float = _ordered("magnet_hold_max_ds", "the longest hold that counts")


class Journal(Section):
    """What the controller writes down."""

    slots: int = _key("the number of records the journal holds", 1024, 16777216)
    reading_descent_s: float = _ordered("reading_descent_ds", "the time between readings in descent and ascent")
    reading_bottom_s: float = _ordered("reading_bottom_ds", "the time between readings on the bottom")
    reading_surface_s: float = _ordered("reading_surface_ds", "the time between readings at the surface and on deck")
