"""The sections of the plan file, one model each: every key with its meaning and the hard bounds of its value."""

from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import Field, field_validator
from pydantic_core import PydanticCustomError

from seatrial import mechanisms
from seatrial.casts import LIMITS
from seatrial.plan.keys import Section, default, key, optional, ordered

EARLIEST_YEAR, LATEST_YEAR = 2000, 2099


class Dive(Section):
    """When it happens."""

    name: str = Field(min_length=1, max_length=80, description="the name of the dive")
    splash_utc: datetime = key("the moment the lander goes into the water")
    on_deck_min: float = key("the time armed on deck before the splash", 0, 2880)
    watch_after_surfacing_min: float = key("how long the rehearsal goes on once the lander is up", 0, 20160)
    must_leave_utc: datetime | None = Field(None, description="the moment the boat must leave")
    surface_in: Literal["daylight", "darkness", "any"] = Field(
        "any", description="the light in which the lander should surface")
    utc_offset_h: float = default(0, "the hours that local time is ahead of UTC", -12, 14)

    @field_validator("splash_utc", "must_leave_utc", mode="before")
    @classmethod
    def _as_utc(cls, value: object) -> datetime | None:
        if value is None:
            return None
        if not isinstance(value, datetime):
            raise PydanticCustomError("moment_type", "not a moment")
        if value.tzinfo is None:
            raise PydanticCustomError("moment_naive", "no zone")
        if not EARLIEST_YEAR <= value.year <= LATEST_YEAR:
            raise PydanticCustomError("moment_range", "year out of range")
        return value.astimezone(UTC)


class WaterRow(Section):
    """One depth of the water column; straight lines between rows, constant beyond the first and the last."""

    depth_m: float = key("the depth of this row", *LIMITS["depth_m"][:2])
    temperature_c: float = key("the temperature of the water in place", *LIMITS["temperature_c"][:2])
    salinity_psu: float = key("the practical salinity of the water", *LIMITS["salinity_psu"][:2])


class CurrentRow(Section):
    """One depth of the current."""

    depth_m: float = key("the depth of this row", *LIMITS["depth_m"][:2])
    speed_m_s: float = key("the speed of the current", *LIMITS["speed_m_s"][:2])
    toward_deg: float = key("the true heading the current sets toward", *LIMITS["toward_deg"][:2])


class Wind(Section):
    """The wind at the surface, and how far the floating lander follows it."""

    speed_m_s: float = key("the speed of the wind at 10 m", 0, 60)
    from_deg: float = key("the true heading the wind blows from", 0, 360)
    leeway_pct: float = key("the share of the wind's speed at which the floating lander drifts", 0, 10)
    leeway_spread_pct: float = key("how much more or less that may be", 0, 10)


class Site(Section):
    """Where it happens. Water: rows of its own, or a file of measured casts, or neither for the standard profile."""

    latitude_deg: float = key("the latitude of the site, north positive", -90, 90)
    longitude_deg: float = key("the longitude of the site, east positive", -180, 180)
    depth_m: float = key("the depth of the seabed at the site", 3, 10950)
    depth_margin_m: float = default(0, "how much deeper the site may be than charted", 0, 200)
    air_temperature_c: float = key("the temperature of the air", -40, 50)
    air_pressure_hpa: float = key("the pressure of the air at sea level", 860, 1090)
    swell_height_m: float = key("the height of the swell, trough to crest", 0, 20)
    swell_period_s: float = key("the period of the swell", 1, 30)
    sun_w_m2: float = default(0, "the sun on deck", 0, 1400)
    visibility_nm: float = default(10, "the meteorological visibility", 0.05, 30)
    attenuation_per_m: float = default(0.2, "the share of a beam of light that each metre of water takes", 0.02, 10)
    mud_suction_n: float = key("the force with which mud holds the frame back", 0, 5000)
    mud_hold_s: float = key("how long the mud holds once it is pulled", 0, 86400)
    water: tuple[WaterRow, ...] = Field(strict=False, min_length=1, description="the water column, top row first")
    current: tuple[CurrentRow, ...] = Field(strict=False, min_length=1, description="the current, top row first")
    wind: Wind
    cast: str | None = Field(None, min_length=1, max_length=400, description="the file of measured casts")


class Power(Section):
    """The main pack and the controller on it."""

    capacity_ah: float = key("the capacity of the pack, fresh and at 20 degC", 0.1, 1000)
    health_fraction: float = default(1, "the share of that capacity which age has left", 0.2, 1)
    cells_in_series: int = key("the number of lithium-ion cells in series", 1, 14)
    resistance_mohm: float = key("the resistance of the whole pack at 20 degC", 1, 10000)
    resistance_factor_at_0_c: float = key("how many times that the resistance is at 0 degC", 1, 10)
    capacity_fraction_at_0_c: float = key("the share of the capacity left at 0 degC", 0.3, 1)
    charge_at_start_fraction: float = key("how full the pack is when armed", 0.05, 1)
    brownout_mv: float = key("the supply below which the controller resets", 500, 60000)
    recover_mv: float = key("the supply above which it starts again", 500, 60000)
    boot_s: float = key("the time from power to the first step", 0.01, 120)
    controller_ma: float = ordered("controller_ma", "the current of the controller at work, its sensors with it")
    controller_asleep_ma: float = key("the current of the controller asleep", 0, 2000)


class Wire(Section):
    """Electrolytic release: a wire of stainless steel eaten by current."""

    kind: Literal["wire"]
    fire_s: float = ordered("fire_primary_ds", "the length of one attempt")
    current_ma: float = key("the current through the wire", 1, 50000)
    wire_diameter_mm: float = key("the diameter of the wire", 0.05, 10)
    wire_length_mm: float = key("the bare length of wire in the water", 0.1, 200)
    wire_density_kg_m3: float = key("the density of the wire", 500, 25000)
    equivalent_weight: float = key("the equivalent weight of the alloy (ASTM G102), grams a mole of charge", 1, 200)
    efficiency_fraction: float = key("the share of the charge that erodes the wire", 0.01, 1)

    def parting_s(self) -> float:
        """Seconds of current that erode the whole bare length (Faraday's law, see `seatrial.mechanisms`)."""
        return mechanisms.Wire(self).seconds_to_open(self.current_ma)


class Latch(Section):
    """Mechanical release: a motor turns a latch open."""

    kind: Literal["latch"]
    fire_s: float = ordered("fire_backup_ds", "the length of one attempt")
    current_ma: float = key("the current of the motor", 1, 50000)
    turn_s: float = key("the time the motor needs to open the latch", 0.05, 1800)


CHANNELS: dict[str, type[Section]] = {"wire": Wire, "latch": Latch}
Channel = Annotated[Wire | Latch, Field(discriminator="kind")]


class Passive(Section):
    """A corroding link, unknown to the controller: a range and never a promise.

    With `soaked_c` the range is that of a soak at this temperature, and is widened for the water of the site when the
    plan is read.
    """

    fitted: bool = Field(description="whether a corroding link is fitted")
    earliest_h: float | None = optional("the earliest it may let go, from the splash", 0.1, 8760)
    latest_h: float | None = optional("the latest it should let go, from the splash", 0.1, 8760)
    soaked_c: float | None = optional("the water in which links of this batch were soaked for that range", -2, 40)


class Release(Section):
    """How the ballast is let go."""

    pause_s: float = ordered("pause_ds", "the watch for a rise before the next attempt")
    pause_max_s: float = ordered("pause_max_ds", "the longest such watch; they double up to this")
    attempts_planned: int = key("the number of attempts held in the battery reserve", 2, 200)
    rise_m: float = ordered("rise_cm", "the rise that confirms a release")
    shed_s: float = ordered("shed_ds", "the longest time to put camera, lights and fan off")
    primary: Channel
    backup: Channel
    passive: Passive


class View(Section):
    """What the camera should be able to see."""

    toward_deg: float = key("the bearing the camera looks toward, from the mark on the frame", 0, 360)
    width_deg: float = key("how wide it looks; 360 is all around", 1, 360)
    distance_m: float = key("how far out the seabed must be lit", 0.1, 50)
    least_lx: float = key("the faintest light that still makes a picture", 0.01, 1e5)


class Camera(Section):
    """The camera, worked by its two buttons."""

    supply: Literal["main_switched", "own_pack"] = Field(description="what feeds the camera")
    feedback: Literal["none", "lamp", "current"] = Field(description="how a press is known to have worked")
    pack_mah: float | None = optional("what the camera's own pack holds", 10, 1e6)
    idle_ma: float = key("the current of the camera on and not recording", 5, 20000)
    recording_ma: float = key("the current of the camera recording", 5, 20000)
    power_press_s: float = ordered("power_press_ds", "the long press on the power button")
    record_press_s: float = ordered("record_press_ds", "the short press on the record button")
    start_s: float = ordered("camera_start_ds", "the time from the power press to ready")
    stop_s: float = ordered("camera_stop_ds", "the time to close a file")
    answer_s: float = ordered("camera_answer_ds", "the time in which a press shows its effect")
    hot_c: float = ordered("camera_hot_centi_c", "the temperature at which the controller puts the camera off")
    shutdown_c: float = key("the temperature at which the camera puts itself off", 30, 150)
    cool_c: float = ordered("camera_cool_centi_c", "the temperature below which it may start again")
    film_descent: bool = Field(description="whether the camera records from the splash on")
    card_h: float = key("the hours of footage the card holds", 0.1, 2000)
    view: View | None = None


class Ring(Section):
    """Where the lamps sit: evenly around the lander, or at the bearings given."""

    first_bearing_deg: float = default(0, "the bearing of the first lamp, from the mark on the frame", 0, 360)
    bearings_deg: tuple[Annotated[float, Field(ge=0, le=360)], ...] | None = Field(
        None, strict=False, min_length=1, description="the bearings of the lamps, where they are not even")
    radius_m: float = key("how far the lamps sit from the middle", 0, 10)
    height_m: float = key("the height of the lamps above the seabed", 0.02, 20)
    tilt_deg: float = key("how far they look down from the horizontal", 0, 90)
    beam_deg: float = key("the full angle of the beam in air, to half its intensity", 2, 175)
    hood_deg: float | None = optional("the angle off the axis beyond which a hood stops the light", 1, 90)
    flux_lm: float = key("the light of one lamp at full", 1, 1e6)
    window: Literal["flat", "dome"] = Field("flat", description="the window of the lamp")
    body_radius_m: float = default(0, "the radius of the lander's middle, which stands in the light", 0, 5)


class Lights(Section):
    """The lamps; on_s and off_s both 0: on for as long as the camera records."""

    count: int = key("the number of lamps", 0, 100)
    current_ma: float = ordered("lights_ma", "the current of all lamps together at full")
    level_pct: float = ordered("lights_pct", "the level of the lamps")
    on_s: float = ordered("lights_on_ds", "the time the lamps are on in each turn")
    off_s: float = ordered("lights_off_ds", "the time they are then off")
    ring: Ring | None = None

    def duty_fraction(self) -> float:
        """The share of the filming time in which the lamps are on."""
        return self.on_s / (self.on_s + self.off_s) if self.on_s and self.off_s else 1.0


class Fan(Section):
    """The fan between camera and housing."""

    current_ma: float = ordered("fan_ma", "the current of the fan")
    on_c: float = ordered("fan_on_centi_c", "the camera temperature at which the fan goes on")
    off_c: float = ordered("fan_off_centi_c", "the camera temperature at which it goes off")


class Heat(Section):
    """Where the heat goes: camera to housing to water or air."""

    housing_heat_capacity_j_k: float = key("the heat capacity of the housing and what is fixed to it", 10, 1e6)
    camera_heat_capacity_j_k: float = key("the heat capacity of the camera", 1, 1e5)
    camera_to_housing_w_k: float = key("the heat flow from camera to housing in still air", 0.001, 100)
    camera_to_housing_fan_w_k: float = key("the same with the fan on", 0.001, 100)
    housing_to_water_w_k: float = key("the heat flow from housing to water", 0.01, 10000)
    housing_to_air_w_k: float = key("the heat flow from housing to air", 0.01, 1000)
    camera_idle_w: float = key("the power of the camera on and not recording", 0, 200)
    camera_recording_w: float = key("the power of the camera recording", 0, 200)
    lights_in_housing_fraction: float = key("the share of the lamps' power that stays inside", 0, 1)
    sunlit_area_m2: float = default(0, "the area of the housing that the sun sees on deck", 0, 10)
    sun_absorbed_fraction: float = default(0.5, "the share of the sun that it takes up", 0, 1)


class PressureSensor(Section):
    """The pressure sensor; beyond its range a reading stands still and looks like the seabed."""

    range_m: float = key("the depth of water at which the sensor reaches its upper end", 5, 11500)
    resolution_mbar: float = key("the smallest step of a reading", 0.001, 1000)
    noise_mbar: float = key("the standard deviation of a reading", 0, 1000)
    lag_s: float = key("the time constant of the sensor", 0, 60)
    offset_mbar: float = default(0, "what it is known to read too high", -5000, 5000)


class SupplySensor(Section):
    """The monitor of supply voltage and current."""

    resolution_mv: float = key("the smallest step of a voltage reading", 0.001, 1000)
    noise_mv: float = key("the standard deviation of a voltage reading", 0, 1000)
    resolution_ma: float = key("the smallest step of a current reading", 0.001, 1000)
    noise_ma: float = key("the standard deviation of a current reading", 0, 1000)


class TemperatureSensor(Section):
    """The temperature sensors of housing and camera."""

    resolution_centi_c: float = key("the smallest step of a reading", 0.01, 1000)
    noise_centi_c: float = key("the standard deviation of a reading", 0, 1000)
    lag_s: float = key("the time constant of the sensor", 0, 3600)


class Clock(Section):
    """The clock that goes on through resets."""

    set: bool = Field(description="whether the clock was set before the dive")
    drift_ppm: float = key("the drift of the clock, fast positive", -1000, 1000)


class Sensors(Section):
    """What the controller sees by."""

    pressure: PressureSensor
    supply: SupplySensor
    temperature: TemperatureSensor
    clock: Clock


class Beacon(Section):
    """What makes the lander seen at the surface."""

    lamp_ma: float = key("the mean current of the lamp in its ordinary flashing", 0, 5000)
    report_ma: float = key("the mean current of position reports", 0, 5000)
    hours: float = ordered("beacon_ds", "how long the beacon must last")
    lamp_cd: float | None = optional("the intensity of the lamp while it is on", 0.01, 1e5)
    lamp_height_m: float = default(0.3, "the height of the lamp above the water", 0.01, 10)
    eye_height_m: float = default(2, "the height of the searcher's eye above the water", 0.5, 60)
    antenna_height_m: float = default(2, "the height of the searcher's antenna above the water", 0.5, 60)
    own_antenna_height_m: float = default(0.3, "the height of the lander's antenna above the water, afloat", 0, 10)


class Times(Section):
    """All from the beginning of the descent."""

    timed_release_min: float = ordered("timed_release_ds", "when the release is due")
    latest_release_min: float = ordered("latest_release_ds", "when the release comes at the very latest")
    settle_latest_min: float = ordered("settle_latest_ds", "from when the lander counts as on the bottom")
    slowest_ascent_min: float = ordered("slowest_ascent_ds", "the slowest ascent thought possible")
    surface_margin_min: float = ordered("surface_margin_ds", "what is added to it before the beacon goes on unseen")
    power_gap_min: float = ordered("power_gap_ds", "the outage under water that ends the dive")


class Thresholds(Section):
    """Where readings become judgements."""

    submerged_m: float = ordered("submerged_cm", "the depth that is a sign of water")
    surface_m: float = ordered("surface_cm", "the depth above which the lander is at the surface")
    sign_hold_s: float = ordered("sign_hold_ds", "how long a sign of water must last")
    one_sign_wait_min: float = ordered("one_sign_wait_ds", "the time after which one sign alone is believed")
    settled_band_m: float = ordered("settled_band_cm", "the band of depth that counts as still")
    settled_s: float = ordered("settled_ds", "how long the lander must be still to be on the bottom")
    too_deep_m: float = ordered("too_deep_cm", "the depth that ends the dive")
    leak_hold_s: float = ordered("leak_hold_ds", "how long water inside must be seen")
    low_hold_s: float = ordered("low_hold_ds", "how long a low supply must be seen")
    reserve_mv: float = ordered("reserve_mv", "the supply under load that still holds the reserve")
    stalled_s: float = ordered("stalled_ds", "how long an ascent that stands still is waited for")


class Magnet(Section):
    """The gesture through the closed housing."""

    hold_s: float = ordered("magnet_hold_ds", "the shortest hold of the magnet that counts")
    hold_max_s: float = ordered("magnet_hold_max_ds", "the longest hold that counts")


class SelfTest(Section):
    """What the controller tests between the gesture and armed; a part that fails refuses to arm."""

    sensors: bool = Field(True, description="whether every sensor must be readable, and the clock set")
    circuits: bool = Field(True, description="whether both release circuits are tested by a trickle of current")
    memory: bool = Field(True, description="whether the journal's memory is written and read back, the plan whole")
    camera: bool = Field(True, description="whether the camera is started, seen to record and put off again")
    lights: bool = Field(True, description="whether the lamps are lit for a second, dimly")


class Journal(Section):
    """What the controller writes down."""

    slots: int = key("the number of records the journal holds", 1024, 16777216)
    reading_descent_s: float = ordered("reading_descent_ds", "the time between readings in descent and ascent")
    reading_bottom_s: float = ordered("reading_bottom_ds", "the time between readings on the bottom")
    reading_surface_s: float = ordered("reading_surface_ds", "the time between readings at the surface and on deck")


class Second(Section):
    """The second board: with a pack of its own it drives the backup release when a dive lasts too long.

    The times are those of its own firmware; its pack is described as in [power], its sensor as in [sensors.pressure].
    """

    fitted: bool = Field(description="whether a second board is fitted")
    signs: Literal["both", "pressure", "contact"] = Field("both", description="which signs of water it has")
    margin_min: float = default(30, "how long after the latest release of the main board it fires", 1, 1440)
    drift_ppm: float = default(50, "the drift of its crystal, fast positive", -10000, 10000)
    controller_ma: float = default(12, "its current at work, its sensor with it", 0.01, 2000)
    controller_asleep_ma: float = default(0.5, "its current asleep", 0, 2000)
    awake_s: float = default(0.07, "how long it is at work at each look, one in four seconds", 0.001, 2)
    boot_s: float = default(1, "the time from power to its first look", 0.01, 120)
    watchdog_s: float = default(8, "the time after which its watchdog resets it", 0.1, 120)
    brownout_mv: float = default(5500, "the supply below which it resets", 500, 60000)
    recover_mv: float = default(6500, "the supply above which it starts again", 500, 60000)
    capacity_ah: float = default(1.2, "the capacity of its pack, fresh and at 20 degC", 0.01, 1000)
    health_fraction: float = default(1, "the share of that capacity which age has left", 0.2, 1)
    cells_in_series: int = default(3, "the number of lithium-ion cells in series", 1, 14)
    resistance_mohm: float = default(300, "the resistance of its whole pack at 20 degC", 1, 100000)
    resistance_factor_at_0_c: float = default(2.5, "how many times that the resistance is at 0 degC", 1, 10)
    capacity_fraction_at_0_c: float = default(0.85, "the share of the capacity left at 0 degC", 0.3, 1)
    charge_at_start_fraction: float = default(0.95, "how full its pack is when the main board is armed", 0.05, 1)
    range_m: float = default(600, "the depth of water at which its pressure sensor reaches its upper end", 5, 11500)
    resolution_mbar: float = default(5, "the smallest step of its pressure reading", 0.001, 1000)
    noise_mbar: float = default(8, "the largest error of its pressure reading by noise", 0, 1000)
    lag_s: float = default(0.5, "the time constant of its pressure sensor", 0, 60)


class Doubt(Section):
    """How far the numbers may be off; low and high take all of them together."""

    drag_pct: float = default(20, "how far the drag may be off", 0, 80)
    mass_pct: float = default(1, "how far each mass may be off", 0, 20)
    density_kg_m3: float = default(0.5, "how far the density of the water may be off", 0, 20)


class Chamber(Section):
    """The test in a pressure chamber."""

    proof_factor: float = default(1.25, "the test pressure by the working pressure", 1, 3)
    cycles: int = default(2, "how often the pressure goes up and down", 1, 100)
    hold_min: float = default(60, "how long the test pressure is held", 1, 1440)
    window_rated_m: float | None = optional("the depth the windows are designed for", 1, 12000)


class Card(Section):
    """What the person wants on the card."""

    tell: tuple[Annotated[str, Field(min_length=1, max_length=120)], ...] = Field(
        (), strict=False, description="who to tell before and after")
    looks_like: str = Field("", max_length=160, description="what the lander looks like afloat")
    marked: str = Field("", max_length=160, description="what is written on the lander for a finder")
