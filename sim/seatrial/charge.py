"""What readings could tell of the charge that was drawn, so that the law of the reserve asks for nothing unknowable.

Charge counts as seen when a valid current reading showed it, or, with no valid reading, when the plan says that what
was switched on draws it. A reset takes back what was seen since the last record.
"""

from seatrial.bare import bare

MS_AH = 3600.0  # mA times seconds in one mAh


class ChargeSeen:
    """The charge of one dive as its readings tell it, step by step, in mAh."""

    def __init__(self, plan) -> None:
        self._plan = plan
        self._thresholds = bare(plan.thresholds)
        self._last_s: float | None = None
        self._seen_mah = 0.0
        self._recorded_mah = 0.0
        self._low_since_s: float | None = None
        self.low_shown_s: float | None = None  # since when the voltage reading has told that the reserve is reached

    def step(self, now_s: float, inputs, levels) -> None:
        """A step of the controller: the reading stands for the time since the step before."""
        if self._last_s is not None:
            seen_ma = inputs.supply_ma if inputs.current_ok else self._planned_ma(levels)
            self._seen_mah += seen_ma * (now_s - self._last_s) / MS_AH
        self._last_s = now_s
        self._look_at_voltage(now_s, inputs)

    def recorded(self) -> None:
        """A record of this step is stored."""
        self._recorded_mah = self._seen_mah

    def reset(self) -> None:
        """The controller has lost its memory."""
        self._last_s = None
        self._low_since_s = None
        self._seen_mah = self._recorded_mah

    def unseen_mah(self, used_ah: float) -> float:
        """Charge drawn that nothing showed."""
        return max(0.0, 1000.0 * used_ah - self._seen_mah)

    def _planned_ma(self, levels) -> float:
        plan = self._plan
        load_ma = plan.power.controller_ma + plan.lights.current_ma * levels[5] / 100.0
        if levels[2] and plan.camera.supply != "own_pack":
            load_ma += plan.camera.recording_ma
        return load_ma + (plan.fan.current_ma if levels[6] else 0.0)

    def _look_at_voltage(self, now_s: float, inputs) -> None:
        thresholds = self._thresholds
        if not inputs.supply_ok or inputs.supply_mv >= thresholds.reserve_mv:
            self._low_since_s = None
        elif self._low_since_s is None:
            self._low_since_s = now_s
        elif self.low_shown_s is None and now_s - self._low_since_s >= thresholds.low_hold_s:
            self.low_shown_s = now_s
