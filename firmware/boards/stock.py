"""What the boards under stock MicroPython share: pins, buses, the serial line and the counter, by the module `machine`.

A board file adds its pin numbers and what its chip does in its own way. The methods are those that every board has,
also the simulated one; whoever uses them never imports `machine`.
"""

POWER_CAME, WATCHDOG_BIT, ASKED_FOR = range(3)  # as the input `reset_cause` counts
SPI_HZ, I2C_HZ, I2C_TIMEOUT_US = 1000000, 100000, 2000
SURFACE_BAUD, SURFACE_BUFFER = 9600, 512
ANSWER_MS = 200  # an answer leaves the USB buffer within this


class StockBoard:
    """`pins` are the numbers by signal; `register` and `selector` the signals behind the shift register and the
    analogue switch, in order; `buses` the numbers of SPI, I2C and UART; after `watchdog_ms` the chip resets itself.
    """

    name = ""
    pins: dict = {}
    register: tuple = ()
    selector: tuple = ()
    buses: tuple = (0, 0, 0)
    watchdog_ms = 8000

    def __init__(self) -> None:
        import select
        import sys

        import machine

        self._machine = machine
        self._device = None
        self._source = getattr(sys.stdin, "buffer", sys.stdin)
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)

    # --- pins and buses -------------------------------------------------------------------------------------------

    def pin_out(self, signal: str, level: int = 0):
        """A pin that drives `level` from the start."""
        pin = self._machine.Pin
        return pin(self.pins[signal], pin.OUT, value=level)

    def pin_in(self, signal: str, is_pulled_up: int = 1):
        """An input; with the chip's own pull-up, beside the one on the circuit, unless the line is driven."""
        pin = self._machine.Pin
        return pin(self.pins[signal], pin.IN, pin.PULL_UP) if is_pulled_up else pin(self.pins[signal], pin.IN)

    def pwm(self, signal: str, frequency_hz: int):
        """A PWM that is low from the start."""
        pin = self._machine.Pin
        return self._machine.PWM(pin(self.pins[signal], pin.OUT, value=0), freq=frequency_hz, duty_u16=0)

    def adc(self, signal: str):
        """A converter with `read_u16`."""
        return self._machine.ADC(self.pins[signal])

    def i2c(self):
        """The bus of the sensors; a transfer that is held gives up after 2 ms."""
        pin = self._machine.Pin
        return self._machine.I2C(self.buses[1], scl=pin(self.pins["i2c_scl"]), sda=pin(self.pins["i2c_sda"]),
                                 freq=I2C_HZ, timeout=I2C_TIMEOUT_US)

    def spi(self):
        """The bus of the shift register and the radio."""
        pin = self._machine.Pin
        return self._machine.SPI(self.buses[0], baudrate=SPI_HZ, polarity=0, phase=0, sck=pin(self.pins["spi_sck"]),
                                 mosi=pin(self.pins["spi_mosi"]), miso=pin(self.pins["spi_miso"]))

    def surface_uart(self):
        """The receiver's line in, the modem's line out; nothing is ever waited for: a report fits the port's buffer."""
        pin = self._machine.Pin
        return self._machine.UART(self.buses[2], baudrate=SURFACE_BAUD, tx=pin(self.pins["modem_tx"]),
                                  rx=pin(self.pins["gnss_rx"]), rxbuf=SURFACE_BUFFER, txbuf=SURFACE_BUFFER, timeout=0)

    def one_wire(self):
        """The bus of the thermometers: `reset`, `writebyte`, `readbyte`."""
        import onewire

        return onewire.OneWire(self._machine.Pin(self.pins["one_wire"]))

    def device(self):
        """The block device of the file system: a board's own."""
        raise NotImplementedError

    def flash(self):
        """The same, and nobody else has it mounted from now on: two that write on it would spoil it."""
        import vfs

        self._device = self.device()
        vfs.umount("/")
        return self._device

    def give_back(self) -> None:
        """Mount the file system again, for whoever comes after the flight: the launcher counts failures on it."""
        import vfs

        if self._device is not None:
            vfs.mount(self._device, "/")

    # --- time, power, the line -------------------------------------------------------------------------------------

    def lend(self, volume) -> None:
        """Let imports find the firmware's files again, through the one owner of the flash."""
        import vfs

        if volume.fs is not None:
            vfs.mount(_Lent(volume.fs), "/")

    def files(self, volume):
        """The firmware's files, to be read: `ilistdir` and `open`; None where they cannot be."""
        return volume.fs

    def take_back(self) -> None:
        """The end of `lend`."""
        import vfs

        try:
            vfs.umount("/")
        except OSError:
            pass  # nothing was lent

    def ticks_ms(self):
        """Milliseconds, wrapping at 2^30."""
        import time

        return time.ticks_ms()

    def sleep_ms(self, span_ms: int, is_deep: int) -> int:
        """Sleep at most so long; `is_deep`: no output that needs a clock is on and nobody is at the line.

        1 when an edge ended it early; this board does not say so, and looks again after it. A byte on the line ends it
        early too, but for a deep one.
        """
        if is_deep:
            self._machine.lightsleep(span_ms)
        else:
            for _ in self._poll.ipoll(span_ms):
                pass
        return 0

    def turned(self) -> None:
        """All drivers had a turn: a board whose time does not pass by itself counts it here."""

    def reset_cause(self) -> int:
        """POWER_CAME or WATCHDOG_BIT: a pressed reset looks like power that came, which is the worse of both."""
        return WATCHDOG_BIT if self._machine.reset_cause() == self._machine.WDT_RESET else POWER_CAME

    def watchdog(self):
        """Begins to count; `feed` begins it anew. Nothing can stop it."""
        return self._machine.WDT(timeout=self.watchdog_ms)

    def key(self) -> int:
        """The next byte that came on the serial line, or -1."""
        for _ in self._poll.ipoll(0):  # which allocates nothing
            byte = self._source.read(1)
            if byte:
                return byte[0] if isinstance(byte, bytes) else ord(byte)
        return -1

    def say(self, text: str) -> None:
        """A line to whoever listens."""
        import sys

        sys.stdout.write(text + "\n")

    def restart(self) -> None:
        """Reset the chip, when the last answer has had its time to leave."""
        import time

        time.sleep_ms(ANSWER_MS)
        self._machine.reset()

    def chip_id(self) -> str:
        """What tells this board from every other: 16 hexadecimal digits, with zeros before a shorter number."""
        import binascii

        return ("0" * 16 + binascii.hexlify(self._machine.unique_id()).decode())[-16:]

    # --- what a simulated board tells its other end -----------------------------------------------------------------

    def booted(self, next_slot: int, bad: int) -> None:
        """The mission has started on the journal that was found."""

    def stepped(self, inputs, outputs, wake_ds: int) -> None:
        """A step is done and its outputs are applied."""


class _Lent:
    """A file system that somebody else owns, mounted to be read; taking it back changes nothing in it."""

    def __init__(self, files) -> None:
        self.open = files.open
        self.stat = files.stat
        self.ilistdir = files.ilistdir

    def mount(self, _is_readonly, _is_to_be_made) -> None:
        """It is mounted already, by its owner."""

    def umount(self) -> None:
        """It stays mounted, for its owner."""

    def chdir(self, _path) -> None:
        """All paths are whole ones."""
