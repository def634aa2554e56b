"""What lets the ballast go: a wire eaten by current, a latch turned by a motor, a link that corrodes by itself.

A driven mechanism has a stock of work to be done (milligrams of wire, seconds of turning) and a rate at which a
current does it. Work done stays done: an attempt that was cut short is continued by the next.

Faults are attributes that the caller sets: `jammed` (never opens, the circuit is fine), `circuit` ("sound", "open"
or "shorted"), `rate_factor` (1.0 as planned, less in cold or fresh water).
"""

from math import inf, pi

from seatrial.handbook.corrosion import FARADAY_C_MOL

SHORTED_DRAWS = 5.0  # times the planned current; our own choice, enough to pull a weak pack down
_ROUNDING = 1.0e-9  # of the whole work: what rounding may leave of a job that is done


def dissolved_mg(charge_c: float, equivalent_weight: float) -> float:
    """Metal dissolved by a charge, mg, at 100 % efficiency: Faraday's law, m = Q EW / F, EW in g/mol."""
    return 1000.0 * charge_c * equivalent_weight / FARADAY_C_MOL


def wire_mg(diameter_mm: float, length_mm: float, density_kg_m3: float) -> float:
    """Mass of a round wire, mg. (1 mm3 of a metal of 1000 kg/m3 weighs 1 mg.)"""
    return 0.25 * pi * diameter_mm**2 * length_mm * density_kg_m3 / 1000.0


class _Driven:
    """What wire and latch share. Subclasses say how fast a current does the work."""

    __slots__ = ("_current_ma", "_work", "_work_left", "circuit", "jammed", "open", "rate_factor")

    def __init__(self, current_ma: float, work: float) -> None:
        self._current_ma = float(current_ma)
        self._work = work
        self._work_left = work
        self.open = False
        self.jammed = False
        self.circuit = "sound"
        self.rate_factor = 1.0

    def advance(self, current_ma: float, dt_s: float) -> None:
        """Drive with `current_ma` for `dt_s` seconds; `open` turns true when the work is done."""
        if self.open:
            return
        self._work_left -= self._rate(current_ma) * dt_s
        if self._work_left <= _ROUNDING * self._work:
            self._work_left = 0.0
            self.open = True

    def seconds_to_open(self, current_ma: float) -> float:
        """Seconds of this current still needed; 0 when open, inf when it never will be."""
        if self.open:
            return 0.0
        rate = self._rate(current_ma)
        return self._work_left / rate if rate > 0.0 else inf

    def drawn_ma(self, drive_pct: float) -> float:
        """Current that the circuit takes from the supply when driven at `drive_pct` percent, mA."""
        planned_ma = self._current_ma * drive_pct / 100.0
        if self.circuit == "sound":
            return planned_ma
        return SHORTED_DRAWS * planned_ma if self.circuit == "shorted" else 0.0

    def _rate(self, current_ma: float) -> float:
        if self.jammed or self.circuit != "sound" or current_ma <= 0.0:
            return 0.0
        return self.rate_factor * self._planned_rate(current_ma)

    def _planned_rate(self, current_ma: float) -> float:
        """Work done in a second by this current, in the units of the work."""
        raise NotImplementedError


class Wire(_Driven):
    """A bare metal wire in seawater that an electric current dissolves; the work is its mass in mg."""

    __slots__ = ("_mg_per_c",)

    def __init__(self, channel) -> None:
        mass_mg = wire_mg(channel.wire_diameter_mm, channel.wire_length_mm, channel.wire_density_kg_m3)
        super().__init__(channel.current_ma, mass_mg)
        self._mg_per_c = channel.efficiency_fraction * dissolved_mg(1.0, channel.equivalent_weight)

    def _planned_rate(self, current_ma: float) -> float:
        return self._mg_per_c * current_ma / 1000.0

    def drawn_ma(self, drive_pct: float) -> float:
        """As for every circuit, and nothing once the wire has parted: no bare metal is left to carry current."""
        if self.open and self.circuit == "sound":
            return 0.0
        return super().drawn_ma(drive_pct)


class Latch(_Driven):
    """A motor that turns a latch open; the work is `turn_s` seconds at full current, slower in proportion below."""

    __slots__ = ()

    def __init__(self, channel) -> None:
        super().__init__(channel.current_ma, float(channel.turn_s))

    def _planned_rate(self, current_ma: float) -> float:
        return min(1.0, current_ma / self._current_ma)


KINDS: dict[str, type[Wire] | type[Latch]] = {"wire": Wire, "latch": Latch}


def make(channel) -> Wire | Latch:
    """The mechanism of one release channel of the plan. Raises ValueError for a kind that does not exist."""
    if channel.kind not in KINDS:
        raise ValueError(f'kind is "{channel.kind}"; allowed is {" or ".join(KINDS)}: choose one of them')
    return KINDS[channel.kind](channel)


class PassiveLink:
    """A galvanic link that corrodes through under water, with no current and no command.

    No law of time against temperature, salt and flow is known that would deserve trust, so there is none here: the
    caller draws `opens_after_s` between the plan's bounds, or outside them for an early or a late link.
    """

    __slots__ = ("_fitted", "_left_s", "jammed", "open")

    def __init__(self, passive, opens_after_s: float) -> None:
        """Raises ValueError when `opens_after_s` is negative."""
        if opens_after_s < 0.0:
            raise ValueError(f"opens_after_s is {opens_after_s}; allowed is 0 and more: draw it between the bounds")
        self._fitted = bool(passive.fitted)
        self._left_s = float(opens_after_s)
        self.open = False
        self.jammed = False

    def advance(self, dt_s: float) -> None:
        """Spend `dt_s` seconds under water; `open` turns true when the time is up."""
        left_s = self._left_s - dt_s
        self._left_s = left_s if left_s > 0.0 else 0.0
        if left_s <= 0.0 and self._fitted and not self.jammed:
            self.open = True

    def delay(self, later_s: float) -> None:
        """It takes so much longer under water; an open link stays open."""
        self._left_s += later_s

    def seconds_to_open(self) -> float:
        """Seconds under water until it opens; 0 when open, inf when it is not fitted or jammed."""
        if self.open:
            return 0.0
        return self._left_s if self._fitted and not self.jammed else inf
