"""Which port a command speaks to, and how it ends when the controller there is gone."""

from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Annotated

import typer
from serial.tools import list_ports

from tumblehome import options, terminal
from tumblehome.bench.link import Gone, Link, LinkError

FAILED, GONE = 1, 3
ARMED = "disarm first"  # as board and host say it
AT_ONCE = 8

Port = Annotated[str | None, typer.Option(
    "--port", metavar=options.URL, autocompletion=options.one_of(lambda: usb_ports()),
    help="The controller's port: /dev/ttyACM0, COM5, socket://host:port. When left out, the only USB port that"
         " answers.")]


@dataclass(frozen=True)
class Found:
    """A port, what its adapter says of itself, and who answers there: `problem` says why nobody does."""

    url: str
    words: str
    greeting: dict[str, str] = field(default_factory=dict)
    status: dict[str, str] = field(default_factory=dict)
    problem: str = ""

    @property
    def state(self) -> str:
        """The mission's state, or that the board stands in a session, where it has none."""
        return self.status.get("state", "in a session")


def usb_ports() -> dict[str, str]:
    """The ports of this machine that are USB, and what they say of themselves; others are not spoken to unasked."""
    return {port.device: port.description or "" for port in sorted(list_ports.comports()) if port.vid is not None}


def look(ports: Iterable[tuple[str, str]]) -> list[Found]:
    """Say hello at all of these at once. Nothing is changed, and no session is ended."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(lambda port: _look(*port), ports))


def _look(url: str, words: str) -> Found:
    try:
        with Link(url, ends_session=False) as link:
            return Found(url, words, link.greeting, link.status() if link.is_board else {})
    except LinkError as error:
        return Found(url, words, problem=str(error))


def the_port(given: str | None) -> str:
    """The port that was given, or the only one with a controller. Raises LinkError with the list where it is not one.
    """
    if given is not None:
        return given
    found = look(usb_ports().items())
    answering = [one.url for one in found if one.greeting]
    if len(answering) == 1:
        return answering[0]
    if answering:
        raise LinkError("%d controllers answer: choose one by --port %s" % (len(answering), " or ".join(answering)))
    looked = "; ".join(one.problem for one in found) or "this machine has no USB serial port"
    raise LinkError("no controller was found (%s): name its port by --port, or practise without one: `tumblehome bench"
                    " practice`" % looked)


@contextmanager
def controller(port: str | None) -> Iterator[Link]:
    """The controller at this port. What goes wrong ends the command, with one sentence and its status; so does Ctrl-C,
    with what was done until then.
    """
    try:
        link = Link(the_port(port))
    except LinkError as error:
        terminal.refuse([terminal.printable(str(error))])
    link.notice = terminal.complain
    with link, told(port):
        try:
            yield link
        except KeyboardInterrupt:
            terminal.so_far = link.so_far
            raise


@contextmanager
def told(port: str | None = None) -> Iterator[None]:
    """Tell what goes wrong with a controller in one sentence, and end with its status; `port` as it was given."""
    try:
        yield
    except LinkError as error:
        disarm = "tumblehome bench disarm" + ("" if port is None else " --port %s" % port)
        terminal.complain("%s%s" % (error, "; `%s` does it" % disarm if ARMED in str(error) else ""))
        raise typer.Exit(GONE if isinstance(error, Gone) else FAILED) from None
