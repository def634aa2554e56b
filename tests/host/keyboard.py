"""A person at a terminal: the tool as a process of its own behind a pseudo-terminal, which is read and typed on.

The terminal is the process's controlling one, so that Ctrl-C is the key and goes through the terminal's own driver.
"""

import os
import select
import subprocess
import sys
import time
from pathlib import Path

CTRL_C = "\x03"
PATIENCE_S = 120.0
HAND_S = 0.5
RUNNING = """
import fcntl, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
sys.argv[0] = "tumblehome"
from tumblehome.bench import link
from tumblehome.cli import main
from tumblehome.deck.watch import Watch
link.SILENT_S = 10.0
waited = Watch.wait
Watch.wait = lambda watch, seconds: waited(watch, seconds / %g)
main()
"""


class Keyboard:
    """`tumblehome` with these words at a terminal of its own, in this folder; a context manager that ends it. At a board
    whose time goes `speed` times as fast as the wall's, the check on deck waits so much shorter. The tool has more patience
    with silence: a machine that is busy with other tests is no controller that is gone.

    `screen` is all that has been shown, 80 wide and without colours; it has its line ends as a file has them.
    """

    def __init__(self, folder: Path, *words: object, speed: float = 1.0, term: str = "dumb") -> None:
        self.screen = ""
        self._read_to = 0
        self._end, others = os.openpty()
        self._process = subprocess.Popen(
            [sys.executable, "-c", RUNNING % speed, *map(str, words)], cwd=folder, stdin=others, stdout=others, stderr=others,
            start_new_session=True, env={**os.environ, "TERM": term, "PYTHONUNBUFFERED": "1"})
        os.close(others)

    def __enter__(self) -> "Keyboard":
        return self

    def __exit__(self, *_error) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._end)

    def wait_for(self, words: str) -> str:
        """What is shown up to these words and was not waited for before."""
        end_s = time.monotonic() + PATIENCE_S
        while words not in self.screen[self._read_to:]:
            if not self._look(end_s):
                raise AssertionError("`%s` was never shown, but: %s" % (words, self.screen[self._read_to:]))
        at = self.screen.index(words, self._read_to) + len(words)
        said, self._read_to = self.screen[self._read_to:at], at
        return said

    def wait_for_question(self, words: str) -> None:
        """Wait for these words, and then as long as a hand needs: a Ctrl-C that comes after they are written and before
        the answer is read would be noticed with the next key only, as anywhere in Python."""
        self.wait_for(words)
        time.sleep(HAND_S)

    def type(self, text: str) -> None:
        """These keys; a line wants its end."""
        os.write(self._end, text.encode())

    def say_yes(self, mark: str = "[y/n] ") -> None:
        """To every question that is asked until the end."""
        end_s = time.monotonic() + PATIENCE_S
        while self._look(end_s):
            if self.screen.endswith(mark):
                self.type("y\n")

    def answer(self, question: str, text: str) -> None:
        """Wait for a question, and type the answer and Enter."""
        self.wait_for(question)
        self.type(text + "\n")

    def ended(self) -> int:
        """Wait for the end; the exit status."""
        end_s = time.monotonic() + PATIENCE_S
        while self._look(end_s):
            pass
        return self._process.wait(max(1.0, end_s - time.monotonic()))

    def _look(self, end_s: float) -> bool:
        """Take what is shown next; whether there is more to come."""
        if not select.select([self._end], [], [], max(0.0, end_s - time.monotonic()))[0]:
            return False
        try:
            data = os.read(self._end, 65536)
        except OSError:  # as Linux says that nobody has the other end open any more
            return False
        self.screen += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)
