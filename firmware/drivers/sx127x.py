"""SX1276/77/78/79, a LoRa radio on SPI: sends short reports, never listens.

Source: Semtech SX1276/77/78/79 datasheet, chapter 4 (LoRa mode) and the register tables of chapter 6; from memory.
SPI mode 0, at 1 MHz or faster. No transfer of a tick is longer than 200 bytes: 1.6 ms at 1 MHz.

SPI has no acknowledgement, so nothing counts until it was read back: the settings when they are made and once a second
after, the payload before it is sent. Between frames the chip sleeps.

A duty-cycle guard keeps the radio silent after each frame for as long as `duty_permille` asks. What is allowed depends
on the band and the place: local rules decide. The guard also runs after a boot, as if the longest frame had just been
sent, because a controller that resets while it sends must not send more often for it.
"""

from drivers import lora_air
from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

PAYLOAD_MAX = 64
VERSION = 0x12
CHECK_MS = 1000
RESET_MS = 1  # the datasheet asks for 0.1 ms
WAKE_MS = 10  # 5 ms after a reset by the pin, 10 ms after power came
_SENT_MAX = RING

# (lowest, highest) of the three bands of the chip, Hz
BANDS_HZ = ((137000000, 175000000), (410000000, 525000000), (862000000, 1020000000))
_HIGH_BAND_HZ = 862000000

_FIFO, _OP_MODE, _FRF, _PA_CONFIG, _OCP, _FIFO_ADDRESS, _TX_BASE = 0x00, 0x01, 0x06, 0x09, 0x0B, 0x0D, 0x0E
_IRQ_MASK, _IRQ_FLAGS, _MODEM_1, _MODEM_2, _PREAMBLE, _LENGTH = 0x11, 0x12, 0x1D, 0x1E, 0x20, 0x22
_MODEM_3, _SYNC_WORD, _VERSION, _PA_DAC = 0x26, 0x39, 0x42, 0x4D
_WRITE = 0x80
_LORA, _LOW_BAND = 0x80, 0x08
_SLEEP, _STANDBY, _TRANSMIT, _MODE_BITS = 0, 1, 3, 7
_TX_DONE = 0x08
_CRC_ON = 0x04

_OFF, _RESETTING, _WAKING, _SETTING, _PROVING, _IDLE, _LOADING, _COMPARING, _SENDING = range(9)


class Sx127x:
    """The radio. Raises ValueError with the reason for settings that the chip does not have.

    `spi` and `cs` are its bus and chip-select pin; `reset` its reset pin or None. `coding_rate` 1 to 4 stands for 4/5
    to 4/8. `power_dbm` at the antenna pin: 2 to 20 with `boost` (the amplifier that modules use), else 0 to 14.

    `ok` 1 while the chip holds its settings and the last frame left; `busy` 1 from `send` until the frame has left or
    failed; `sent` counts frames that left; `quiet_ms` is how long the duty cycle still forbids the next; `faults`.
    """

    def __init__(self, spi, cs, reset, frequency_hz: int, spreading_factor: int = 9, bandwidth_hz: int = 125000,
                 coding_rate: int = 1, power_dbm: int = 14, boost: int = 1, sync_word: int = 0x12,
                 duty_permille: int = 10) -> None:
        wrong = _wrong(frequency_hz, spreading_factor, bandwidth_hz, coding_rate, power_dbm, boost, sync_word,
                       duty_permille)
        if wrong:
            raise ValueError(wrong)
        self._spi = spi
        self._cs = cs
        self._reset = reset
        self._spreading_factor = spreading_factor
        self._bandwidth_code = lora_air.bandwidth_code(bandwidth_hz)
        self._coding_rate = coding_rate
        self._duty_permille = duty_permille
        self._mode = _LORA | (_LOW_BAND if frequency_hz < _HIGH_BAND_HZ else 0)
        self._settings = _settings(frequency_hz, spreading_factor, self._bandwidth_code, coding_rate, power_dbm, boost,
                                   sync_word)
        self._out = bytearray(2)
        self._in = bytearray(2)
        self._frame = bytearray(1 + PAYLOAD_MAX)  # the FIFO is written and read whole: a slice would allocate
        self._ask = bytearray(1 + PAYLOAD_MAX)
        self._back = bytearray(1 + PAYLOAD_MAX)
        self._payload_bytes = 0
        self.ok = 0
        self.busy = 0
        self.sent = 0
        self.faults = 0
        self.quiet_ms = 0
        self._off_ms = -1  # unknown until the first start
        self._frame_ms = 0
        self._limit_ms = 0
        self._state = _OFF
        self._since_ms = 0
        self._release()

    def start(self, now_ms: int) -> int:
        """Begin to bring the chip to its settings; ticks finish it. 1 when the chip answers already."""
        self.ok = 0
        self.busy = 0
        if self._off_ms < 0:
            self._charge(now_ms, self.air_us(PAYLOAD_MAX))
        try:
            answers = 1 if self._read(_VERSION) == VERSION else 0
            if self._reset is not None:
                self._reset(0)
        except OSError:
            self._fail(now_ms)
            return 0
        self._enter(_WAKING if self._reset is None else _RESETTING, now_ms)
        return answers

    def air_us(self, payload_bytes: int) -> int:
        """How long a frame with so many bytes is on the air, microseconds."""
        return lora_air.air_us(payload_bytes, self._spreading_factor, self._bandwidth_code, self._coding_rate)

    def send(self, payload, length: int, now_ms: int) -> int:
        """Take the first `length` bytes of the payload to be sent by the coming ticks; they are copied.

        0 and nothing changed while the radio is not ok, busy or kept quiet, and for a length outside 1 to 64.
        """
        self._grow_quiet(now_ms)
        if not self.ok or self.busy or self._off_ms or not 1 <= length <= min(PAYLOAD_MAX, len(payload)):
            return 0
        for at in range(PAYLOAD_MAX):
            self._frame[1 + at] = payload[at] if at < length else 0
        self._payload_bytes = length
        self.busy = 1
        self._enter(_LOADING, now_ms)
        return 1

    def tick(self, now_ms: int) -> None:
        """One step: of coming up, of a frame, or of the check that the chip still holds its settings."""
        self._grow_quiet(now_ms)
        try:
            self._step(now_ms, (now_ms - self._since_ms) & RING)
        except OSError:
            self._fail(now_ms)

    def _step(self, now_ms: int, elapsed_ms: int) -> None:
        state = self._state
        if state == _IDLE:
            if elapsed_ms >= CHECK_MS:
                self._check(now_ms)
        elif state == _SENDING:
            self._await_done(now_ms)
        elif state == _LOADING:
            self._load(now_ms)
        elif state == _COMPARING:
            self._transmit(now_ms)
        elif state == _OFF:
            if elapsed_ms >= PAUSE_MS:
                self.start(now_ms)
        elif state == _RESETTING:
            if elapsed_ms > RESET_MS:  # one more than asked: the counter may have been about to turn
                self._reset(1)
                self._enter(_WAKING, now_ms)
        elif state == _WAKING:
            if elapsed_ms > WAKE_MS:
                self._go_to_sleep(now_ms)
        elif state == _SETTING:
            self._set(now_ms)
        else:
            self._check(now_ms)

    # Coming up.

    def _go_to_sleep(self, now_ms: int) -> None:
        if self._read(_VERSION) != VERSION:
            self._fail(now_ms)
            return
        self._write(_OP_MODE, self._mode & ~_LORA | _SLEEP)  # the modem can be chosen only while the chip sleeps
        self._write(_OP_MODE, self._mode | _SLEEP)
        self._enter(_SETTING, now_ms)

    def _set(self, now_ms: int) -> None:
        for at in range(0, len(self._settings), 2):
            self._write(self._settings[at], self._settings[at + 1])
        self._enter(_PROVING, now_ms)

    def _check(self, now_ms: int) -> None:
        if not self._holds_settings():
            self._fail(now_ms)
            return
        self.ok = 1
        self._enter(_IDLE, now_ms)

    def _holds_settings(self) -> bool:
        if self._read(_VERSION) != VERSION or self._read(_OP_MODE) != self._mode | _SLEEP:
            return False
        for at in range(0, len(self._settings), 2):
            if self._read(self._settings[at]) != self._settings[at + 1]:
                return False
        return True

    # A frame.

    def _load(self, now_ms: int) -> None:
        if not self._holds_settings():
            self._fail(now_ms)
            return
        self._write(_OP_MODE, self._mode | _STANDBY)  # asleep the chip has no FIFO
        self._write(_IRQ_FLAGS, 0xFF)
        self._write(_LENGTH, self._payload_bytes)
        self._write(_FIFO_ADDRESS, 0)
        self._frame[0] = _FIFO | _WRITE
        self._cs(0)
        self._spi.write(self._frame)
        self._cs(1)
        self._enter(_COMPARING, now_ms)

    def _transmit(self, now_ms: int) -> None:
        if not self._holds_frame():
            self._fail(now_ms)
            return
        air_us = self.air_us(self._payload_bytes)
        self._charge(now_ms, air_us)
        self._limit_ms = air_us // 1000 + air_us // 8000 + 100
        self._write(_FIFO_ADDRESS, 0)
        self._write(_OP_MODE, self._mode | _TRANSMIT)
        self._enter(_SENDING, now_ms)

    def _holds_frame(self) -> bool:
        if self._read(_LENGTH) != self._payload_bytes:
            return False
        self._write(_FIFO_ADDRESS, 0)
        self._ask[0] = _FIFO
        self._cs(0)
        self._spi.write_readinto(self._ask, self._back)
        self._cs(1)
        for at in range(1, 1 + PAYLOAD_MAX):
            if self._back[at] != self._frame[at]:
                return False
        return True

    def _await_done(self, now_ms: int) -> None:
        # The mode is read too, because a dead bus shows every flag, TxDone among them, or none.
        flags = self._read(_IRQ_FLAGS)
        mode = self._read(_OP_MODE)
        if flags & _TX_DONE and mode == self._mode | _STANDBY:
            self._finish(now_ms)
        elif mode & ~_MODE_BITS != self._mode or (now_ms - self._since_ms) & RING > self._limit_ms:
            self._fail(now_ms)

    def _finish(self, now_ms: int) -> None:
        self._write(_IRQ_FLAGS, 0xFF)
        self._write(_OP_MODE, self._mode | _SLEEP)
        self.busy = 0
        self.sent = (self.sent + 1) & _SENT_MAX
        self._enter(_IDLE, now_ms)

    # The duty cycle.

    def _charge(self, now_ms: int, air_us: int) -> None:
        """From now on, no frame until this one is over and its silence too."""
        air_ms = -(-air_us // 1000)
        silence_ms = -(-air_ms * (1000 - self._duty_permille) // self._duty_permille)
        self._off_ms = air_ms + silence_ms if silence_ms else 0
        self._frame_ms = now_ms
        self.quiet_ms = self._off_ms

    def _grow_quiet(self, now_ms: int) -> None:
        # Once over it is over for good, before the counter wraps.
        if self._off_ms <= 0:
            return
        left_ms = self._off_ms - ((now_ms - self._frame_ms) & RING)
        if left_ms <= 0:
            left_ms = 0
            self._off_ms = 0
        self.quiet_ms = left_ms

    # The bus.

    def _fail(self, now_ms: int) -> None:
        self.ok = 0
        self.busy = 0
        if self.faults < FAULTS_MAX:
            self.faults += 1
        self._enter(_OFF, now_ms)
        self._release()
        try:
            self._write(_OP_MODE, self._mode | _SLEEP)  # a transmitter that is stuck eats the battery
        except OSError:
            self._release()

    def _release(self) -> None:
        """Chip select up: after a failed transfer the chip would take the next bytes for more of the old ones."""
        try:
            self._cs(1)
        except OSError:
            self._state = _OFF

    def _enter(self, state: int, now_ms: int) -> None:
        self._state = state
        self._since_ms = now_ms

    def _read(self, register: int) -> int:
        self._out[0] = register
        self._out[1] = 0
        self._cs(0)
        self._spi.write_readinto(self._out, self._in)
        self._cs(1)
        return self._in[1]

    def _write(self, register: int, value: int) -> None:
        self._out[0] = register | _WRITE
        self._out[1] = value
        self._cs(0)
        self._spi.write(self._out)
        self._cs(1)


def frequency_steps(frequency_hz: int) -> int:
    """The frequency in steps of the synthesiser, 32 MHz / 2^19 = 15625 / 256 Hz, rounded, without large integers."""
    whole = frequency_hz // 15625
    rest = frequency_hz - whole * 15625
    return whole * 256 + (rest * 256 + 7812) // 15625


def _settings(frequency_hz: int, spreading_factor: int, bandwidth_code: int, coding_rate: int, power_dbm: int,
              boost: int, sync_word: int) -> bytes:
    """Registers and their values, in pairs."""
    steps = frequency_steps(frequency_hz)
    high_power = boost and power_dbm > 17
    amplifier = 0x80 | (power_dbm - (5 if high_power else 2)) if boost else 0x70 | power_dbm
    slow = lora_air.low_data_rate(spreading_factor, bandwidth_code)
    return bytes((
        _FRF, steps >> 16, _FRF + 1, (steps >> 8) & 0xFF, _FRF + 2, steps & 0xFF,
        _PA_CONFIG, amplifier, _PA_DAC, 0x87 if high_power else 0x84,
        _OCP, 0x31 if high_power else 0x2B,  # cut-off at 140 mA, 100 mA
        _TX_BASE, 0, _IRQ_MASK, 0xFF & ~_TX_DONE,
        _MODEM_1, bandwidth_code << 4 | coding_rate << 1,
        _MODEM_2, spreading_factor << 4 | _CRC_ON,
        _MODEM_3, slow << 3,
        _PREAMBLE, 0, _PREAMBLE + 1, lora_air.PREAMBLE_SYMBOLS,
        _SYNC_WORD, sync_word))


def _wrong(frequency_hz: int, spreading_factor: int, bandwidth_hz: int, coding_rate: int, power_dbm: int, boost: int,
           sync_word: int, duty_permille: int) -> str:
    """The first setting that the chip or the datasheet does not allow, in one sentence, or an empty string."""
    if not any([lowest <= frequency_hz <= highest for lowest, highest in BANDS_HZ]):
        return "frequency_hz is %d; allowed is 137 to 175, 410 to 525 or 862 to 1020 million" % frequency_hz
    if lora_air.bandwidth_code(bandwidth_hz) < 0:
        return "bandwidth_hz is %d; allowed is %s" % (
            bandwidth_hz, ", ".join([str(row[0]) for row in lora_air.BANDWIDTHS]))
    for name, value, lowest, highest in (
            ("spreading_factor", spreading_factor, 7, 12), ("coding_rate", coding_rate, 1, 4),
            ("power_dbm", power_dbm, 2 if boost else 0, 20 if boost else 14), ("sync_word", sync_word, 0, 255),
            ("duty_permille", duty_permille, 1, 1000)):
        if not lowest <= value <= highest:
            return "%s is %d; allowed is %d to %d" % (name, value, lowest, highest)
    if power_dbm > 17 and duty_permille > 10:
        return "duty_permille is %d; above 17 dBm the chip allows at most 10: send less often or with less power" \
            % duty_permille
    return ""
