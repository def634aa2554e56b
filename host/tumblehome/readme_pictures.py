"""The pictures of the README: `python -m tumblehome.readme_pictures` makes them anew from the sample. Needs Chromium.

Each is a page that a command of the README writes, seen in a window of a laptop's width and no network.
"""

import argparse
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

FOLDER = Path(__file__).parents[2] / ".pictures"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
WIDTH_PX = 1040
SCALE = "0.8"  # of a pixel of the page: as wide as a README is shown
DRAWN_WITHIN_MS = 8000
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--host-resolver-rules=MAP * ~NOTFOUND", "--hide-scrollbars", "--force-device-scale-factor=%s" % SCALE,
         "--virtual-time-budget=%d" % DRAWN_WITHIN_MS)


class Picture(NamedTuple):
    """A page by the command that writes it, and how much of it is seen from its top, in pixels of the page."""

    command: str
    page: str
    height_px: int


PICTURES = {
    "dive.png": Picture("rehearse --fault jammed@record", "dive.html", 1330),
    "sweep.png": Picture("sweep --only release", "sweep.html", 1390),
}


def take(picture: Picture, browser: str, image: Path) -> None:
    """Do the command in a folder that is gone afterwards, and write what the browser shows of its page to `image`.

    Raises OSError or subprocess.CalledProcessError where command or browser fails.
    """
    with TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run([sys.executable, "-c", "from tumblehome.cli import main; main()", *picture.command.split(),
                        "--out", "out"], cwd=folder, check=True, stdout=subprocess.DEVNULL)
        seen = folder / "seen.png"
        subprocess.run([browser, *FLAGS, "--user-data-dir=%s" % (folder / "profile"),
                        "--window-size=%d,%d" % (WIDTH_PX, picture.height_px), "--screenshot=%s" % seen,
                        (folder / "out" / picture.page).as_uri()], check=True, capture_output=True)
        shutil.copyfile(seen, image)


def main(arguments: Sequence[str] = ()) -> int:
    options = argparse.ArgumentParser(prog="python -m tumblehome.readme_pictures",
                                      description=(__doc__ or "").splitlines()[0])
    options.parse_args(arguments)
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        print("there is no Chromium here: install it, such as by apt-get install chromium", file=sys.stderr)
        return 2
    FOLDER.mkdir(exist_ok=True)
    for name, picture in PICTURES.items():
        take(picture, browser, FOLDER / name)
        print("made %s" % name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
