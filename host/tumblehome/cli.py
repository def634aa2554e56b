"""The command line. Every command works on the built-in sample when no plan is named."""

import sys

import typer

from tumblehome import rehearsal, tables

app = typer.Typer(
    name="tumblehome", no_args_is_help=True, add_completion=True, pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Plan, rehearse and prove the dive of an untethered seabed camera lander. All times are UTC.",
    epilog="Simulation lowers risk and proves nothing about hardware that was not tested.")

app.command("rehearse", epilog="Example: tumblehome rehearse --fault jammed@record --seed 7 --out my-dive")(
    rehearsal.rehearse)
app.command("table", epilog="Example: tumblehome table --diagram > table.mmd")(tables.table)


def main() -> None:
    """The entry point: exit status 0 fine, 1 a law broken or not home, 2 bad input."""
    app(prog_name="tumblehome", args=sys.argv[1:])
