"""Raspberry Pi Pico (RP2040) under stock MicroPython: which pin does what, and what this chip does in its own way.

Datasheets: Raspberry Pi Ltd, "RP2040 Datasheet" and "Raspberry Pi Pico Datasheet" (from memory); MicroPython's
documentation of `machine` and `rp2`. What each signal is, its safe state and its resistor stand in `boards.wiring`.
"""

from boards.stock import StockBoard

# Signal and number of the GPIO.
PINS = {
    "select_0": 0,
    "gnss_rx": 1,
    "spi_sck": 2,
    "spi_mosi": 3,
    "spi_miso": 4,
    "radio_cs": 5,
    "register_latch": 6,
    "register_enable": 7,
    "i2c_sda": 8,
    "i2c_scl": 9,
    "select_1": 10,
    "primary_fire": 11,
    "modem_tx": 12,
    "backup_opener": 13,
    "backup_locker": 14,
    "backup_trickle": 15,
    "leak_drive_a": 16,
    "leak_drive_b": 17,
    "contact_drive_a": 18,
    "contact_drive_b": 19,
    "lights": 20,
    "one_wire": 21,
    "magnet": 22,
    "status": 25,
    "selected": 26,
    "select_2": 27,
    "backup_end": 28,
}

# Outputs of the shift register, Q0 first; more than eight are chained.
REGISTER = ("primary_arm", "camera_supply", "power_button", "record_button", "fan", "beacon", "surface_supply",
            "heartbeat", "primary_trickle")

# Inputs of the analogue switch, channel 0 first.
SELECTOR = ("primary_sense", "primary_node", "backup_sense", "backup_node", "leak_node", "contact_node", "camera_lamp")


class Board(StockBoard):
    """The first board."""

    name = "pico"
    pins = PINS
    register = REGISTER
    selector = SELECTOR
    buses = (0, 0, 0)
    watchdog_ms = 8000  # the chip's counter ends at 8388

    def device(self):
        """The block device of the file system."""
        import rp2

        return rp2.Flash()
