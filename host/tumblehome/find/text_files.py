"""Files of text that a person brings to a search: tracks and winds."""

from pathlib import Path

from seatrial.complaints import complaint
from tumblehome.find.mistakes import FindError


def text_of(path: Path, most_bytes: int, wanted: str, way_out: str) -> str:
    """The text of a file in UTF-8, with a mark of byte order or without.

    `wanted` is what to name instead of a file that cannot be read, `way_out` what to do with one that is no text.
    Raises FindError for these, and for a file of more than `most_bytes`.
    """
    try:
        with open(path, "rb") as file:
            content = file.read(most_bytes + 1)
    except OSError as error:
        raise FindError([f"{path.name} cannot be read ({complaint(error)}): name {wanted}"]) from None
    if len(content) > most_bytes:
        raise FindError([f"{path.name} has more than {most_bytes / 1e6:.0f} MB: cut it to the days of the search"])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FindError([f"{path.name} is not text in UTF-8: {way_out}"]) from None
