"""What is done to a controller on the bench: the commands of `tumblehome bench`."""

import typer

from tumblehome.bench.clock import bench_clock
from tumblehome.bench.disarm import bench_disarm
from tumblehome.bench.diving import bench_dive
from tumblehome.bench.flash import bench_flash
from tumblehome.bench.journal import journal
from tumblehome.bench.listing import bench_list
from tumblehome.bench.load import bench_load
from tumblehome.bench.poke import bench_poke
from tumblehome.bench.practice import bench_practice
from tumblehome.bench.run import bench_run
from tumblehome.bench.status import bench_status
from tumblehome.bench.watch import bench_watch

bench = typer.Typer(name="bench", help="What is done to a controller on the bench, at the end of a cable.",
                    epilog="Begin with `tumblehome bench practice`: it needs no board.")
bench.command("practice", epilog="Example: tumblehome bench practice --wrong leak-stuck")(bench_practice)
bench.command("list", epilog="Example: tumblehome bench list --port socket://127.0.0.1:4330")(bench_list)
bench.command("status", epilog="Example: tumblehome bench status --port /dev/ttyACM0")(bench_status)
bench.command("watch", epilog="Example: tumblehome bench watch --seconds 60 > readings.txt")(bench_watch)
bench.command("poke", epilog="Example: tumblehome bench poke lights --level 40 --seconds 1 --plan my-dive.toml")(
    bench_poke)
bench.command("clock", epilog="Example: tumblehome bench clock --set")(bench_clock)
bench.command("load", epilog="Example: tumblehome bench load my-dive.toml --port /dev/ttyACM0")(bench_load)
bench.add_typer(journal)
bench.command("run", epilog="Example: tumblehome bench run arm-and-disarm --port practice --junit out.xml")(bench_run)
bench.command("dive", epilog="Example: tumblehome bench dive my-dive.toml --fault jammed@record --port /dev/ttyACM0")(
    bench_dive)
bench.command("disarm", epilog="Example: tumblehome bench disarm --port /dev/ttyACM0")(bench_disarm)
bench.command("flash", epilog="Example: tumblehome bench flash /dev/ttyACM0 --board pico --as second")(bench_flash)


@bench.callback(invoke_without_command=True)
def _bench(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        print(context.get_help())
