"""What each kind of fault does when it begins: it changes the world or the dive, and returns what ends it again.

What lasts is held (`seatrial.holding`), so that faults may overlap. What returns nothing is over at once: it has no
end that could be waited for. Faults of the site change the plan before the dive is built, never the controller's copy.
"""

from seatrial.holding import added, joined, largest, multiplied, smallest

LOAD_PLACES = {"primary": 0, "backup": 1, "camera": 2, "lights": 5, "fan": 6, "beacon": 7, "report": 8}
THERMOMETERS = {"camera": "camera_temperature", "housing": "housing_temperature", "water": "water_temperature"}
FREEZING_C = -1.8  # seawater is ice below


def all_of(ends):
    """One end for several effects."""
    ends = list(ends)

    def end() -> None:
        for one in reversed(ends):
            one()
    return end


# --- release ---------------------------------------------------------------------------------------------------------


def _mechanisms(dive, channel: str):
    world = dive.world
    return {"primary": (world.primary,), "backup": (world.backup,), "both": (world.primary, world.backup)}[channel]


def jam(dive, values):
    return all_of(dive.hold(one, "jammed", True) for one in _mechanisms(dive, values["channel"]))


def break_circuit(dive, values):
    return all_of(dive.hold(one, "circuit", values["how"]) for one in _mechanisms(dive, values["channel"]))


def slow_release(dive, values):
    return all_of(dive.hold(one, "rate_factor", values["rate"], smallest)
                  for one in _mechanisms(dive, values["channel"]))


def hang_ballast(dive, values):
    world = dive.world
    let_go = dive.hold(world, "ballast_sticks", values["part"], largest)

    def end() -> None:
        let_go()
        if world.freed_by:
            world.let_fall()
    return end


def corrode(dive, values):
    link = dive.world.link
    link.advance(max(0.0, link.seconds_to_open() - values["after_min"] * 60.0))


def corrode_late(dive, values):
    dive.world.link.delay(values["later_h"] * 3600.0)


def jam_link(dive, values):
    return dive.hold(dive.world.link, "jammed", True)


# --- power -----------------------------------------------------------------------------------------------------------


def sag(dive, values):
    return dive.hold(dive.world.battery, "extra_mohm", values["mohm"], added)


def lose_cells(dive, values):
    return dive.hold(dive.world.battery, "cells_gone", int(values["cells"]), added)


def age_battery(dive, values):
    return dive.hold(dive.world.battery, "capacity_factor", values["left"], smallest)


def cut_power(dive, values):
    return dive.hold(dive.world.battery, "connected", False)


def reset_on_load(dive, values):
    """The step of this load pulls the supply down for an instant, whatever the battery could do."""
    return _spike_at_steps(dive, (values["load"],), values["after_s"])


def _spike_at_steps(dive, loads, after_s: float):
    spikes = tuple((LOAD_PLACES[load], after_s) for load in loads)
    dive.await_spikes(spikes)  # this may begin in the very step that has switched the load on
    return dive.hold(dive, "load_resets", spikes, joined)


# --- controller ------------------------------------------------------------------------------------------------------


def reset_once(dive, values):
    dive.reset("reset", cause=0)


def reset_in_attempts(dive, values):
    channels = ("primary", "backup") if values["channel"] == "both" else (values["channel"],)
    return _spike_at_steps(dive, channels, values["after_s"])


def hang(dive, values):
    dive.hang(values["watchdog_s"])


def load_half(dive, values):
    dive.fail_starts(int(values["starts"]), values["each_s"])


def kill_main(dive, values):
    """The second board, where there is one, has its own battery and goes on."""
    end = dive.hold(dive, "main_dead", True)
    dive.reset("the main controller is dead", cause=0)
    return end


def tear_record(dive, values):
    store = dive.world_store
    store.cut_at = store.writes + 1
    store.cut_bytes = int(values["bytes"])


def damage_records(dive, values):
    dive.damage_records(int(values["records"]))
    if values["then"] == "reset":
        dive.reset("power failed for a moment", cause=0)


def refuse_writes(dive, values):
    return all_of((dive.hold(dive.world_store, "refuses", True), dive.hold(dive.world, "store_refuses", True)))


def fill_flash(dive, values):
    dive.fill_journal(int(values["slots"]))


# --- second board ----------------------------------------------------------------------------------------------------


def kill_second(dive, values):
    end = dive.hold(dive.second, "dead", True)
    dive.second.reset()
    return end


def reset_second(dive, values):
    dive.second.reset()


def hang_second(dive, values):
    dive.second.hang()


def lose_second_pressure(dive, values):
    return dive.hold(dive.second.pressure, "absent", True)


def deafen_second_contact(dive, values):
    return dive.hold(dive.second, "contact_dead", True)


def wet_second_contact(dive, values):
    return dive.hold(dive.second, "contact_bridged", True)


# --- time ------------------------------------------------------------------------------------------------------------


def lose_clock(dive, values):
    return dive.hold(dive.world.clock, "ok", False)


def jump_clock(dive, values):
    return dive.hold(dive.world.clock, "jump_s", int(values["by_s"]), added)


def drift_clock(dive, values):
    """The rate goes back to what it was; what the clock has lost or gained by then stays."""
    world = dive.world
    world.clock.drift(world.now_s, values["ppm"])
    return lambda: world.clock.drift(world.now_s, -values["ppm"])


def wrap_counter(dive, values):
    dive.set_back_counter(values["by_s"])


# --- sensors ---------------------------------------------------------------------------------------------------------


def freeze_pressure(dive, values):
    return dive.hold(dive.world.pressure, "frozen", True)


def lose_pressure(dive, values):
    return dive.hold(dive.world.pressure, "absent", True)


def offset_pressure(dive, values):
    return dive.hold(dive.world.pressure, "offset_mbar", values["mbar"], added)


def noisy_pressure(dive, values):
    sensor = dive.world.pressure
    return all_of((dive.hold(sensor, "extra_noise_mbar", int(values["mbar"]), added),
                   dive.hold(sensor, "spikes", int(values["spikes"]), largest)))


def creep_pressure(dive, values):
    return dive.hold(dive.world.pressure, "creeps", ((dive.world.now_s, values["mbar_h"]),), joined)


def warm_pressure(dive, values):
    return dive.hold(dive.world.pressure, "warmths", ((dive.world.outside_c(), values["mbar_k"]),), joined)


def shorten_range(dive, values):
    full_mbar = int(dive.world.water.pressure_mbar_at(values["range_m"]))
    return dive.hold(dive.world.pressure, "full_mbar", full_mbar, smallest)


def misread_battery(dive, values):
    supply = dive.world.supply
    return all_of((dive.hold(supply, "voltage_factor", values["voltage"], multiplied),
                   dive.hold(supply, "current_factor", values["current"], multiplied)))


def lose_supply(dive, values):
    return dive.hold(dive.world.supply, "absent", True)


def lose_current(dive, values):
    supply, which = dive.world.supply, values["which"]
    names = {"supply": ("current_absent",), "release": ("release_absent",)}.get(
        which, ("current_absent", "release_absent"))
    return all_of(dive.hold(supply, name, True) for name in names)


def _thermometers(dive, which: str):
    return [getattr(dive.world, name) for word, name in THERMOMETERS.items() if which in (word, "all")]


def lose_temperature(dive, values):
    return all_of(dive.hold(one, "absent", True) for one in _thermometers(dive, values["which"]))


def misread_temperature(dive, values):
    return all_of(dive.hold(one, "offset_c", values["by_c"], added) for one in _thermometers(dive, values["which"]))


def leak(dive, values):
    return dive.hold(dive.world, "leak_wet", True)


def deafen_leak(dive, values):
    return dive.hold(dive.world, "leak_dead", True)


def deafen_contact(dive, values):
    return dive.hold(dive.world, "contact_dead", True)


def wet_contact(dive, values):
    return dive.hold(dive.world, "contact_bridged", True)


# --- camera and light ------------------------------------------------------------------------------------------------


def miss_presses(dive, values):
    camera, presses = dive.world.camera, int(values["presses"])
    camera.deaf_presses += presses

    def end() -> None:
        camera.deaf_presses = max(0, camera.deaf_presses - presses)
    return end


def crash_camera(dive, values):
    dive.world.camera.crash()
    dive.world.camera.crashed_s = dive.world.now_s
    dive.world.weigh_load()


def record_early(dive, values):
    return dive.hold(dive.world.camera, "starts_recording", True)


def fill_card(dive, values):
    dive.world.camera.card_left_s = 0.0


def stop_fan(dive, values):
    return dive.hold(dive.world, "fan_dead", True)


def short_lamp(dive, values):
    return dive.hold(dive.world, "lamp_shorted", True)


# --- surface ---------------------------------------------------------------------------------------------------------


def raise_swell(dive, values):
    return dive.hold(dive.world, "swell_m", values["height_m"], largest)


def wash_antenna(dive, values):
    return dive.hold(dive.world, "antenna_awash", values["part"], largest)


def lose_fix(dive, values):
    return dive.hold(dive.world, "no_fix", True)


def kill_radio(dive, values):
    return dive.hold(dive.world, "radio_dead", True)


def kill_strobe(dive, values):
    return dive.hold(dive.world, "strobe_dead", True)


# --- site and people -------------------------------------------------------------------------------------------------


def catch(dive, values):
    return dive.hold(dive.world.hull, "caught", True)


def haul(dive, values):
    dive.haul_back(values["speed_m_s"])


def brush_magnet(dive, values):
    return dive.hold(dive.world, "magnet", 1)


def line_noise(dive, values):
    return dive.hold(dive, "line_noise", True)


def nothing(dive, values):
    """All of it was done to the site before the dive was built."""


def unset_clock(plan, values):
    """The clock that goes into the water has never been set; its own flag may say that it was."""
    clock = plan.sensors.clock.model_copy(update={"set": values["says"] == "set", "never_set": True})
    return plan.model_copy(update={"sensors": plan.sensors.model_copy(update={"clock": clock})})


def _with_site(plan, **changes):
    return plan.model_copy(update={"site": plan.site.model_copy(update=changes)})


def deeper(plan, values):
    return _with_site(plan, depth_m=plan.site.depth_m + values["by_m"])


def shallower(plan, values):
    return _with_site(plan, depth_m=max(1.0, plan.site.depth_m - values["by_m"]))


def colder(plan, values):
    return _with_site(plan, water=tuple(row.model_copy(update={
        "temperature_c": max(FREEZING_C, row.temperature_c - values["by_c"])}) for row in plan.site.water))


def sink_thermocline(plan, values):
    """All of the layers below the first row lie deeper; the first row's water reaches down to them."""
    first, *others = sorted(plan.site.water, key=lambda row: row.depth_m)
    end = first.model_copy(update={"depth_m": first.depth_m + values["by_m"]})
    lower = [row.model_copy(update={"depth_m": row.depth_m + values["by_m"]}) for row in others]
    return _with_site(plan, water=(first, end, *lower))


def run_faster(plan, values):
    return _with_site(plan, current=tuple(row.model_copy(update={"speed_m_s": values["times"] * row.speed_m_s})
                                     for row in plan.site.current))


def hold_in_mud(plan, values):
    return _with_site(plan, mud_suction_n=values["suction_n"], mud_hold_s=values["hold_s"])


def float_too_well(plan, values):
    ballast = plan.lander.ballast.model_copy(update={"mass_kg": values["ballast_kg"]})
    return plan.model_copy(update={"lander": plan.lander.model_copy(update={"ballast": ballast})})
