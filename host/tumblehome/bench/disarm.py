"""`tumblehome bench disarm`: the launch is put off; the same as the gesture with the magnet."""

from time import sleep

import typer

from lander import words
from tumblehome import terminal
from tumblehome.bench.ports import Port, controller

LOOKS, LOOK_S = 8, 0.5  # a controller that is armed steps once a second or two
STILL_ARMED = 1


def bench_disarm(port: Port = None) -> None:
    """Disarm a lander that is on deck, and see that it is.

    Exit status 0: it is safe. 1: it refused. 2: bad input, or no controller answers. 3: it went away meanwhile.
    """
    with controller(port) as link:
        link.so_far = "nothing is known of whether it is armed still"
        if link.status()["state"] != "safe":
            link.ask("ask", command="disarm")
        for _ in range(LOOKS):
            status = link.status()
            if status["state"] == "safe":
                terminal.out.print("safe: the lander is not armed")
                return
            sleep(LOOK_S)
        refusal = link.number_in(status, "refused")
        terminal.out.print("still %s: %s; hold the magnet for five seconds, or take it out of the water first" % (
            status["state"], words.REFUSALS.get(refusal, "it gave no reason") if refusal else "it gave no reason"))
    raise typer.Exit(STILL_ARMED)
