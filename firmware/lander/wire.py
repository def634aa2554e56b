"""Lines on the wire: text that a program checks and a person can type.

    17 step uptime_ds=1200 contact_wet=1*4EFD

A number that the answer repeats, a verb, `key=value` pairs, a star and the CRC-16 of all before the star in four
hexadecimal digits. A person may type `*typed` in place of the CRC. A line is at most `LINE_MAX` bytes without its
end; ends are LF or CR LF. Answers have the same form, with `ok` or `no` for a verb; `no` gives one reason.
"""

import binascii

from lander.checksum import crc16

LINE_MAX = 200
VERSION = 2
TYPED = "typed"


class WireError(Exception):
    """A line that is not understood; nothing was changed by it. `args[0]` is the reason, in words."""


def frame(text: str) -> str:
    """The text with its checksum, without a line end."""
    data = text.encode()
    return "%s*%04X" % (text, crc16(data, 0, len(data)))


def unframe(line: str) -> str:
    """The text of a line. Raises WireError for a missing or wrong checksum or a line that is too long."""
    if len(line) > LINE_MAX:
        raise WireError("line too long: at most %d bytes" % LINE_MAX)
    star = line.rfind("*")
    if star < 0:
        raise WireError("no checksum: end the line with *CRC, or type *%s" % TYPED)
    text, mark = line[:star], line[star + 1:]
    if mark == TYPED:
        return text
    data = text.encode()
    if len(mark) != 4 or mark.upper() != "%04X" % crc16(data, 0, len(data)):
        raise WireError("wrong checksum")
    return text


def _is_number(text: str) -> bool:
    """Plain digits only: `isdigit` takes those of other scripts as well."""
    for letter in text:
        if not "0" <= letter <= "9":
            return False
    return bool(text)


def words(text: str):
    """Number, verb and the dict of pairs. Raises WireError; the number is 0 where it cannot be read."""
    parts = text.split()
    if len(parts) < 2 or not _is_number(parts[0]) or len(parts[0]) > 9:
        raise WireError("want: number verb key=value ...")
    pairs = {}
    for part in parts[2:]:
        key, equals, value = part.partition("=")
        if not equals or not key or key in pairs:
            raise WireError("want key=value, each once: %s" % part[:40])
        pairs[key] = value
    return int(parts[0]), parts[1], pairs


def integer(key: str, value: str, lowest: int, highest: int) -> int:
    """The integer that a pair carries. Raises WireError with the allowed range."""
    digits = value[1:] if value[:1] == "-" else value
    if not _is_number(digits) or len(digits) > 10 or not lowest <= int(value) <= highest:
        raise WireError("%s=%s: allowed is %d to %d" % (key, value[:20], lowest, highest))
    return int(value)


def take(pairs, key: str, lowest: int, highest: int) -> int:
    """Remove a pair and return its integer. Raises WireError when it is missing or out of range."""
    if key not in pairs:
        raise WireError("%s is missing" % key)
    return integer(key, pairs.pop(key), lowest, highest)


def take_hex(pairs) -> bytes:
    """Remove the pair `hex` and return its bytes. Raises WireError when it is missing or no hexadecimal."""
    try:
        return binascii.unhexlify(pairs.pop("hex"))
    except KeyError:
        raise WireError("hex is missing") from None
    except ValueError:
        raise WireError("hex wants pairs of hexadecimal digits") from None


def nothing_else(pairs) -> None:
    """Raises WireError when a pair is left that nobody asked for."""
    for key in pairs:
        raise WireError("not wanted here: %s" % key[:30])
