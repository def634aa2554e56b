"""What is done to a controller on the bench: the commands of `tumblehome bench`."""

import typer

from tumblehome.bench.flash import bench_flash
from tumblehome.bench.practice import bench_practice

bench = typer.Typer(name="bench", help="What is done to a controller on the bench, at the end of a cable.",
                    epilog="Begin with `tumblehome bench practice`: it needs no board.")
bench.command("practice", epilog="Example: tumblehome bench practice --wrong leak-stuck")(bench_practice)
bench.command("flash", epilog="Example: tumblehome bench flash /dev/ttyACM0 --board pico --as second")(bench_flash)


@bench.callback(invoke_without_command=True)
def _bench(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        print(context.get_help())
