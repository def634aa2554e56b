"""ESP32 (a module with 4 MiB of flash) under stock MicroPython: which pin does what, and what it does in its own way.

Datasheet: Espressif, "ESP32 Series Datasheet" (from memory); MicroPython's documentation of `machine` and `esp32`. What
each signal is, its safe state and its resistor stand in `boards.wiring`. GPIO 34 to 39 are inputs without pull-ups; 0,
2, 5, 12 and 15 tell the chip how to start: 5 and 15 are pulled up and 12 down here, as that wants; 6 to 11 are the
flash's.
"""

from boards.stock import StockBoard

# Signal and number of the GPIO.
PINS = {
    "register_enable": 4,
    "radio_cs": 5,
    "backup_locker": 12,
    "contact_drive_b": 13,
    "lights": 16,
    "register_latch": 17,
    "spi_sck": 18,
    "spi_miso": 19,
    "i2c_sda": 21,
    "i2c_scl": 22,
    "spi_mosi": 23,
    "primary_fire": 25,
    "contact_drive_a": 26,
    "backup_opener": 27,
    "leak_drive_a": 32,
    "leak_drive_b": 33,
    "selected": 34,
    "backup_end": 35,
    "magnet": 36,
    "gnss_rx": 39,
    "one_wire": 14,
    "modem_tx": 15,
}

# Outputs of the two shift registers in a chain, Q0 of the first one first.
REGISTER = ("primary_arm", "camera_supply", "power_button", "record_button", "fan", "beacon", "surface_supply",
            "heartbeat", "select_0", "select_1", "select_2", "status", "primary_trickle", "backup_trickle")

# Inputs of the analogue switch, channel 0 first.
SELECTOR = ("primary_sense", "primary_node", "backup_sense", "backup_node", "leak_node", "contact_node", "camera_lamp")


class Board(StockBoard):
    """The second kind of board, which proves that nothing above it knows the first."""

    name = "esp32"
    pins = PINS
    register = REGISTER
    selector = SELECTOR
    buses = (2, 0, 2)

    def pin_in(self, signal: str, is_pulled_up: int = 1):
        """An input; 34 to 39 have no pull-ups of their own, so that the resistors of the table are needed."""
        pin = self._machine.Pin
        return pin(self.pins[signal], pin.IN)

    def adc(self, signal: str):
        """A converter with `read_u16`, over its whole range of about 3.1 V."""
        return self._machine.ADC(self._machine.Pin(self.pins[signal]), atten=self._machine.ADC.ATTN_11DB)

    def device(self):
        """The block device of the file system."""
        partition = __import__("esp32").Partition  # by name: the stubs of the first board do not know it
        return partition.find(partition.TYPE_DATA, label="vfs", block_size=4096)[0]
