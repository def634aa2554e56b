"""What is fitted to this lander's controller: the numbers of its parts. Change them to what was built; nothing else.

Read once at the start, on the board and by the simulator, which gives its chips the same numbers.
"""

# Pressure: "transducer" (ratiometric, 10 to 90 %, through an ADS1115), or a part that `drivers.ms58xx` knows.
PRESSURE = "transducer"
PRESSURE_ADDRESS = 0x48  # 0x48 to 0x4B for the converter, 0x76 or 0x77 for an MS58xx
TRANSDUCER_FULL_MBAR = 100000  # from 10 to 90 % of its supply
TRANSDUCER_ZERO_MBAR = 0  # at 10 %: 0 for an absolute one, about 1013 for a sealed gauge

# Supply and camera current: an INA226 each, with its shunt.
SUPPLY_ADDRESS, SUPPLY_SHUNT_MICRO_OHM, SUPPLY_STEP_MICRO_A = 0x40, 5000, 500
CAMERA_ADDRESS, CAMERA_SHUNT_MICRO_OHM, CAMERA_STEP_MICRO_A = 0x41, 20000, 100

CLOCK_ADDRESS = 0x68  # DS3231
HOUSING_ADDRESS = 0x49  # TMP117

# The DS18B20 at the camera and in the water, by the code that each has from its maker.
CAMERA_ROM = b"\x28\x11\x22\x33\x44\x55\x66\x56"
WATER_ROM = b"\x28\x21\x22\x33\x44\x55\x66\xbb"

# Probes: series resistor; wet below, dry above, broken above, Ohm. The end resistor lies between dry and broken.
LEAK_OHM = (100000, 40000, 400000, 3000000)
CONTACT_OHM = (10000, 5000, 40000, 300000)

# Releases: the primary is a burn wire, the backup a latch (0 servo, 1 motor to its end switch, 2 motor for a time).
RELEASE_FULL_MA = 3300  # at full scale of the converter
FIRE_MA = 1000
BACKUP_KIND = 1
TRICKLE_OPEN_BELOW_MA = 4  # of 10 mA into a short; an open wire behind a silicon diode looks like 2 mA
MOTOR_SHORT_ABOVE_MA = 8  # a sound winding with its 680 Ohm back to ground shows 3 mA

CAMERA_LAMP_FULL = 65535  # reading of the photodiode that counts as 1000 permille

GNSS = 1  # a position receiver is fitted
MODEM = 1  # reports go out on `modem_tx` too, as lines for whatever modem hangs there; 9600 baud
# The radio's carrier, Hz; 0: no radio. Which frequency, power and share of the time are allowed: local rules decide.
RADIO_HZ = 0
RADIO_DBM, RADIO_DUTY_PERMILLE = 14, 10
