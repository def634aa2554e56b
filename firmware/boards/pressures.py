"""The pressure sensor that `boards.fitted` names; only its own driver is loaded."""

from boards import fitted


def made(bus):
    """The driver of the sensor on this bus. Raises ValueError for a part that there is not."""
    if fitted.PRESSURE == "transducer":
        from drivers.ads1115 import ADS1115, RatiometricTransducer

        return RatiometricTransducer(ADS1115(bus, fitted.PRESSURE_ADDRESS), fitted.TRANSDUCER_FULL_MBAR,
                                     fitted.TRANSDUCER_ZERO_MBAR)
    from drivers.ms58xx import MS58xx

    return MS58xx(bus, fitted.PRESSURE, address=fitted.PRESSURE_ADDRESS)
