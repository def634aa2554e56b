"""What is allowed and is still told."""

import pytest

from seatrial import plan as plans

from .editing import SAMPLE, cut, edited, put


@pytest.mark.parametrize(("path", "literal", "part"), [
    ("thresholds.too_deep_m", "440", "thresholds.too_deep_m is 440"),
    ("camera.feedback", '"none"', "a press that was missed"),
    ("camera.supply", '"own_pack"', "own supply lead"),
    ("camera.card_h", "4.9", "camera.card_h is 4.9 and 5.0 h are filmed"),
    ("release.shed_s", "10", "release.shed_s is 10"),
    ("release.primary.fire_s", "95", "one attempt alone does not free"),
    ("release.primary.fire_s", "150", "at its highest valence (ASTM G102) the wire needs up to 154 s"),
    ("power.capacity_fraction_at_0_c", "0.97", "power.capacity_fraction_at_0_c is 0.97; 0.75 to 0.95 is usual"),
    ("site.swell_height_m", "3", "with every wave"),
    ("times.settle_latest_min", "10", "while it still sinks"),
    ("second.margin_min", "20", "second.margin_min is 20 and the second board is built with 30"),
    ("second.margin_min", "5", "needs 6 min from its latest release"),
    ("release.passive.earliest_h", "6.4", "the second board fires 6.5 h after the splash"),
    ("lander.frontal_area_m2", "2.0", "the lander sinks at 0.27 m/s"),
])
def test_what_is_allowed_but_doubtful_is_told_as_a_caution(path, literal, part):
    changes = {path: literal}
    if path.startswith("lander"):
        changes["times.slowest_ascent_min"] = "60"
    text = SAMPLE
    for key, value in changes.items():
        text = put(text, key, value)
    assert sum(part in caution for caution in plans.parse(text).cautions()) == 1


def test_a_link_that_is_not_fitted_needs_no_range_and_gives_a_caution():
    text = cut(cut(edited(release__passive__fitted="false"), "release.passive.earliest_h"), "release.passive.latest_h")
    assert any("release.passive.fitted is false: only the second board" in caution
               for caution in plans.parse(text).cautions())
    alone = put(text, "second.fitted", "false")
    assert any("release.passive.fitted is false: nothing frees" in caution for caution in plans.parse(alone).cautions())
