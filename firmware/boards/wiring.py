"""What every signal of the controller is: the words beside the pin numbers of the board files.

For people, documents and tests; never loaded on a board. A board file says on which pin a signal is, on which output of
the shift register, or on which input of the analogue switch; here stands what it does, what it does from reset until
the first step, and the resistor that this needs.
"""

OUTPUT, PWM, INPUT, ANALOGUE, BUS = "output", "PWM", "input", "analogue", "bus"

# name, kind, state from reset until the first step, resistor, what it is
SIGNALS = (
    ("register_enable", OUTPUT, "high: all outputs of the register are let go", "10 kOhm to 3.3 V",
     "output enable of the shift register, active low; the one line that makes all slow outputs safe at once"),
    ("register_latch", OUTPUT, "low", "none", "takes over what was shifted in"),
    ("primary_arm", OUTPUT, "off", "10 kOhm to ground at the switch",
     "arm switch of the primary release; it and the fire switch are in series"),
    ("primary_fire", PWM, "low", "10 kOhm to ground at the switch", "fire switch of the primary release"),
    ("primary_trickle", OUTPUT, "low", "none", "test current into the primary release: 330 Ohm, Schottky diode"),
    ("primary_sense", ANALOGUE, "input", "none", "current of the primary release: shunt and amplifier"),
    ("primary_node", ANALOGUE, "input", "1 MOhm to ground", "voltage at the primary release while it is tested"),
    ("backup_opener", PWM, "low", "10 kOhm to ground at the bridge", "drives the backup latch open"),
    ("backup_locker", PWM, "low", "10 kOhm to ground at the bridge", "drives the backup latch shut, on the bench"),
    ("backup_trickle", OUTPUT, "low", "none",
     "test current into the backup motor: 330 Ohm, Schottky diode; back from its other side by 680 Ohm, 1 W"),
    ("backup_end", INPUT, "input", "10 kOhm to 3.3 V", "end switch: closed to ground where the latch is open"),
    ("backup_sense", ANALOGUE, "input", "none", "current of the backup motor: shunt and amplifier"),
    ("backup_node", ANALOGUE, "input", "1 MOhm to ground", "voltage at the backup motor while it is tested"),
    ("camera_supply", OUTPUT, "off", "10 kOhm to ground at the switch", "load switch of the camera"),
    ("power_button", OUTPUT, "off", "10 kOhm to ground at the switch", "closes the camera's power button"),
    ("record_button", OUTPUT, "off", "10 kOhm to ground at the switch", "closes the camera's record button"),
    ("camera_lamp", ANALOGUE, "input", "none", "photodiode on the camera's record lamp"),
    ("lights", PWM, "low", "10 kOhm to ground at the switch", "level of the lamps"),
    ("fan", OUTPUT, "off", "10 kOhm to ground at the switch", "fan at the camera"),
    ("beacon", OUTPUT, "off", "10 kOhm to ground at the switch", "flashing lamp at the surface"),
    ("surface_supply", OUTPUT, "off", "10 kOhm to ground at the switch", "supply of the position receiver"),
    ("heartbeat", OUTPUT, "off", "10 kOhm to ground", "turned over at each step: to the second board"),
    ("status", OUTPUT, "low", "none", "lamp that tells the person on deck what the controller does"),
    ("leak_drive_a", OUTPUT, "low", "none", "drives the leak probe in the housing one way"),
    ("leak_drive_b", OUTPUT, "low", "none", "drives the leak probe in the housing the other way"),
    ("leak_node", ANALOGUE, "input", "none; 1 nF to ground", "leak probe: what stands between its electrodes"),
    ("contact_drive_a", OUTPUT, "low", "none", "drives the wet contact outside one way"),
    ("contact_drive_b", OUTPUT, "low", "none", "drives the wet contact outside the other way"),
    ("contact_node", ANALOGUE, "input", "none; 1 nF to ground", "wet contact: what stands between its electrodes"),
    ("magnet", INPUT, "input", "10 to 100 kOhm to 3.3 V", "hall or reed switch behind the wall: low with a magnet"),
    ("select_0", OUTPUT, "low", "100 kOhm to ground", "which input the analogue switch shows, lowest bit"),
    ("select_1", OUTPUT, "low", "100 kOhm to ground", "which input the analogue switch shows, middle bit"),
    ("select_2", OUTPUT, "low", "100 kOhm to ground", "which input the analogue switch shows, highest bit"),
    ("selected", ANALOGUE, "input", "none", "what the analogue switch shows"),
    ("i2c_sda", BUS, "input", "4.7 kOhm to 3.3 V", "data of pressure, supply, camera current, clock, thermometer"),
    ("i2c_scl", BUS, "input", "4.7 kOhm to 3.3 V", "clock of the sensors' bus"),
    ("one_wire", BUS, "input", "4.7 kOhm to 3.3 V", "thermometers at the camera and in the water"),
    ("spi_sck", BUS, "input", "none", "clock of shift register and radio"),
    ("spi_mosi", BUS, "input", "none", "data to shift register and radio"),
    ("spi_miso", BUS, "input", "none", "data from the radio"),
    ("radio_cs", OUTPUT, "high: not spoken to", "10 kOhm to 3.3 V", "selects the radio on its bus"),
    ("modem_tx", BUS, "input", "10 kOhm to 3.3 V", "position reports as lines of text, to a modem"),
    ("gnss_rx", BUS, "input", "none", "what the position receiver says, NMEA 0183"),
)
NAME, KIND, AT_RESET, RESISTOR, WHAT = range(5)
