"""The whole plan: its sections together, and what it is asked for."""

from typing import Any

from pydantic import PrivateAttr

from lander import orders as lander_orders
from lander.orders import Orders
from seatrial.plan import body, sections
from seatrial.plan.cautions import CAUTIONS
from seatrial.plan.keys import Section
from seatrial.plan.orders import orders_of


class Plan(Section):
    """A whole dive, read and checked. Obtain one by `load`, `load_sample` or `parse`."""

    dive: sections.Dive
    site: sections.Site
    lander: body.Lander
    power: sections.Power
    release: sections.Release
    camera: sections.Camera
    lights: sections.Lights
    fan: sections.Fan
    heat: sections.Heat
    sensors: sections.Sensors
    beacon: sections.Beacon
    times: sections.Times
    thresholds: sections.Thresholds
    magnet: sections.Magnet
    self_test: sections.SelfTest = sections.SelfTest()
    journal: sections.Journal
    second: sections.Second = sections.Second(fitted=False)
    doubt: sections.Doubt = sections.Doubt()
    chamber: sections.Chamber = sections.Chamber()
    card: sections.Card = sections.Card()

    _source_text: str = PrivateAttr("")
    _notes: tuple[str, ...] = PrivateAttr(())

    @property
    def source_text(self) -> str:
        """The text this plan was read from, to keep beside results."""
        return self._source_text

    @property
    def notes(self) -> tuple[str, ...]:
        """What was noticed while it was read, a sentence each: rows of a cast that were skipped, a standard profile."""
        return self._notes

    def value(self, key: str) -> Any:
        """The value at a dotted key such as "release.primary.fire_s". Raises AttributeError for an unknown key."""
        found: Any = self
        for name in key.split("."):
            found = getattr(found, name)
        return found

    def orders(self) -> Orders:
        """What the plan orders the controller to do, see `orders_of`."""
        return orders_of(self)

    def mission_record(self) -> bytes:
        """The orders as the controller keeps them in flash."""
        return lander_orders.pack(self.orders())

    def cautions(self) -> list[str]:
        """What is allowed and still worth a second thought, one sentence each."""
        return [sentence for caution in CAUTIONS for sentence in caution(self)]
