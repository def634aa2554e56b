"""A bare section has the numbers of its section, and nothing of the model's own slow attribute lookup."""

import pytest

from seatrial.bare import bare

from .flying import SAMPLE


@pytest.mark.parametrize("name", ["power", "camera", "second", "thresholds", "heat"])
def test_a_bare_section_has_every_number_of_its_section(name):
    section = getattr(SAMPLE, name)
    copy = bare(section)
    assert vars(copy) == {key: getattr(section, key) for key in type(section).model_fields}
    assert vars(bare(copy)) == vars(copy)


def test_what_a_section_does_not_have_a_bare_one_does_not_have_either():
    with pytest.raises(AttributeError, match="no_such_key"):
        bare(SAMPLE.power).no_such_key  # noqa: B018
