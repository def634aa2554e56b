"""What a plan is allowed and is still worth a second thought, one sentence each."""

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from deadman import MARGIN_DS
from seatrial.handbook.corrosion import wire_parting_range_s
from seatrial.plan.attempts import planned_attempts
from seatrial.plan.checks import SENSOR_MARGIN
from seatrial.plan.reckoning import FASTEST_DESCENT_M_S, channels_of, descent_s, filming_from_min
from seatrial.plan.sections import Wire
from seatrial.plan.wording import up

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

SLOW_DESCENT_M_S = 0.3
USUAL_IN_THE_COLD = 0.95  # share of a lithium-ion pack's capacity left at 0 degC; handbook feel, from memory


def _caution_passive(plan: "Plan") -> Iterator[str]:
    if not plan.release.passive.fitted:
        what = "only the second board" if plan.second.fitted else "nothing"
        yield f"release.passive.fitted is false: {what} frees the ballast when the controller has no power left"


def _caution_too_deep(plan: "Plan") -> Iterator[str]:
    too_deep_m, wanted_m = plan.thresholds.too_deep_m, plan.site.depth_m * SENSOR_MARGIN
    if too_deep_m < wanted_m:
        yield (f"thresholds.too_deep_m is {too_deep_m:g}, less than 5 % below the seabed at {plan.site.depth_m:g} m: a"
               f" site a little deeper than charted ends the dive; {up(wanted_m)} m leaves room")


def _caution_speeds(plan: "Plan") -> Iterator[str]:
    if not math.isfinite(descent_s(plan)):
        return  # told by the checks
    speed = plan.site.depth_m / descent_s(plan)
    if not SLOW_DESCENT_M_S <= speed <= FASTEST_DESCENT_M_S:
        yield (f"the lander sinks at {speed:.2f} m/s; {SLOW_DESCENT_M_S:g} to {FASTEST_DESCENT_M_S:g} m/s is usual:"
               " slower drifts far, faster lands hard")
    if plan.times.settle_latest_min * 60 < descent_s(plan):
        yield (f"times.settle_latest_min is {plan.times.settle_latest_min:g} and the descent takes about"
               f" {up(descent_s(plan) / 60)} min: the lander will count as on the bottom while it still sinks")


def _caution_wire(plan: "Plan") -> Iterator[str]:
    for path, channel, _attempts in channels_of(plan):
        if isinstance(channel, Wire) and channel.fire_s <= channel.parting_s():
            yield (f"{path}.fire_s is {channel.fire_s:g} and the wire needs {up(channel.parting_s())} s: one attempt"
                   " alone does not free the ballast")


def _caution_valence(plan: "Plan") -> Iterator[str]:
    for path, channel, _attempts in channels_of(plan):
        if isinstance(channel, Wire) and channel.parting_s() < channel.fire_s:
            _shortest_s, longest_s = wire_parting_range_s(
                channel.wire_diameter_mm, channel.wire_length_mm, channel.current_ma, channel.wire_density_kg_m3,
                channel.efficiency_fraction)
            if longest_s > channel.fire_s:
                yield (f"{path}.fire_s is {channel.fire_s:g}; if the steel dissolves at its highest valence (ASTM G102)"
                       f" the wire needs up to {up(longest_s)} s, and one attempt alone does not free the ballast")


def _caution_cold(plan: "Plan") -> Iterator[str]:
    fraction = plan.power.capacity_fraction_at_0_c
    if fraction > USUAL_IN_THE_COLD:
        yield (f"power.capacity_fraction_at_0_c is {fraction:g}; 0.75 to {USUAL_IN_THE_COLD:g} is usual to plan with"
               " (handbook feel, from memory): a fresh cell loses less at a light load, an old one more;"
               " measure yours")


def _caution_camera(plan: "Plan") -> Iterator[str]:
    camera, lights_out_s = plan.camera, plan.release.shed_s
    closing_s = camera.record_press_s + camera.stop_s + camera.power_press_s + camera.answer_s
    filming_h = (plan.times.timed_release_min - filming_from_min(plan)) / 60
    if camera.feedback == "none":
        yield 'camera.feedback is "none": a press that was missed cannot be noticed'
    if camera.feedback == "current" and camera.supply == "own_pack":
        yield ('camera.feedback is "current" and camera.supply is "own_pack": the current must be measured in the'
               " camera's own supply lead")
    if camera.card_h < filming_h:
        yield (f"camera.card_h is {camera.card_h:g} and {filming_h:.1f} h are filmed: the card is full before the"
               " release")
    if lights_out_s < closing_s:
        yield (f"release.shed_s is {lights_out_s:g} and the camera needs {up(closing_s, 1)} s to close its file and go"
               " off: the last file may be lost")


def _caution_swell(plan: "Plan") -> Iterator[str]:
    if plan.thresholds.surface_m < plan.site.swell_height_m / 2:
        yield (f"thresholds.surface_m is {plan.thresholds.surface_m:g} and the swell is {plan.site.swell_height_m:g} m"
               " high: at the surface the reading will cross the threshold with every wave")


def _caution_second(plan: "Plan") -> Iterator[str]:
    second = plan.second
    if not second.fitted:
        return
    built_min = MARGIN_DS / 600
    if second.margin_min != built_min:
        yield (f"second.margin_min is {second.margin_min:g} and the second board is built with {built_min:g} (MARGIN_DS"
               " in firmware/deadman.py): change one of the two")
    both_over_min = planned_attempts(plan.release)[1].until_s / 60
    if second.margin_min <= both_over_min:
        yield (f"second.margin_min is {second.margin_min:g}; the main board needs {up(both_over_min)} min from its"
               " latest release until it has tried both channels, and the second board would fire while it does: give"
               f" more than {up(both_over_min)} min")
    passive = plan.release.passive
    deadline_h = (plan.times.latest_release_min + second.margin_min) / 60
    if passive.fitted and passive.earliest_h is not None and passive.earliest_h <= deadline_h:
        yield (f"release.passive.earliest_h is {passive.earliest_h:g}; the second board fires {deadline_h:.1f} h after"
               " the splash: the link may let go before it")


CAUTIONS: tuple[Callable[["Plan"], Iterator[str]], ...] = (
    _caution_passive, _caution_too_deep, _caution_speeds, _caution_wire, _caution_valence,
    _caution_cold, _caution_camera, _caution_swell, _caution_second,
)
