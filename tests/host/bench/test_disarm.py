"""The launch is put off: a lander that is armed on deck is made safe over the line, and is seen to be."""

from time import monotonic, sleep

from lander.table import SAFE
from tumblehome.bench.link import open_link

ARMED_WITHIN_S = 60.0


def arm(link) -> None:
    """Arms it, as soon as all its sensors have been read since its start."""
    by_s = monotonic() + ARMED_WITHIN_S
    while (told := link.status())["state"] != "armed":
        assert monotonic() < by_s, told
        if told["selftest"] == "0":
            link.ask("ask", command="arm")
        sleep(0.5)


def test_an_armed_lander_is_disarmed_and_a_second_time_does_no_harm(run, practised):
    board = practised()
    with open_link(board.url) as link:
        arm(link)
    for _ in range(2):
        said = run("bench", "disarm", "--port", board.url)
        assert (said.status, said.out.strip()) == (0, "safe: the lander is not armed")
    with open_link(board.url) as link:
        assert link.status()["state"] == "safe"


def test_a_lander_in_the_water_stays_armed_and_says_why(run, practised):
    board = practised()
    with open_link(board.url) as link:
        arm(link)
    board.set(contact_wet=1)
    by_s = monotonic() + ARMED_WITHIN_S
    while not board.felt["contact_wet"]:  # the contact is not read at every step
        assert monotonic() < by_s
        sleep(0.01)
    said = run("bench", "disarm", "--port", board.url)
    assert said.status in (1, 2, 3)  # refused on the line, or deaf already: the descent may have begun
    assert "safe: " not in said.out and board.wanted["state"] != SAFE


def test_nobody_at_the_port_is_told_in_a_sentence(run):
    said = run("bench", "disarm", "--port", "socket://127.0.0.1:1")
    assert said.status == 2 and "cannot open" in said.err
