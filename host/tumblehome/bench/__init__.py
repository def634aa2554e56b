"""What is done to a controller on the bench: the commands of `tumblehome bench`."""

import typer

from tumblehome import manual
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
for _words, _function in (
        ("bench practice", bench_practice), ("bench list", bench_list), ("bench status", bench_status),
        ("bench watch", bench_watch), ("bench poke", bench_poke), ("bench clock", bench_clock),
        ("bench load", bench_load), ("bench run", bench_run), ("bench dive", bench_dive),
        ("bench disarm", bench_disarm), ("bench flash", bench_flash)):
    manual.add(bench, _words, _function)
bench.add_typer(journal)


@bench.callback(invoke_without_command=True)
def _bench(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        print(context.get_help())
