"""Who flies the dives: processes of this machine, or the workers of a cluster. Rows are kept as they come.

Anything that is a `concurrent.futures.Executor` will do. Chunks that were lost with a worker are flown again; what is
kept is decided by the number of the dive, so that nothing counts twice.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

from lander import VERSION
from seatrial.campaign.choosing import CampaignError, Planned
from seatrial.campaign.flying import Row, fly_many
from seatrial.campaign.results import Results
from seatrial.campaign.sharing import gathered
from seatrial.plan import Plan

CHUNK = 48  # dives: some seconds of work
IN_FLIGHT = 3  # chunks for each worker: enough that none waits, few enough to be lost without pain
LOST_POOLS_MAX = 5
CONNECT_S = 10


@contextmanager
def processes(cores: int) -> Iterator[Executor]:
    """So many processes of this machine, each freshly started, the same way on every system."""
    pool = ProcessPoolExecutor(cores, multiprocessing.get_context("spawn"), _mind_the_parent)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _mind_the_parent() -> None:
    """Ctrl-C is for the parent, which ends its workers in order; a parent that was killed takes its workers along."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()

    def end_with_it() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)
    threading.Thread(target=end_with_it, daemon=True).start()


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """The workers of a dask.distributed scheduler, and how many dives they fly at once. Raises CampaignError."""
    try:
        from distributed import Client
    except ImportError:
        raise CampaignError("--cluster needs the package distributed, which is not here:"
                            " pip install 'tumblehome[cluster]'") from None
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise CampaignError("--cluster %s: no scheduler answers there within %d s (%s): start one with `dask"
                            " scheduler` and name its address, such as tcp://192.0.2.7:8786"
                            % (address, CONNECT_S, str(error).splitlines()[0])) from None
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise CampaignError("--cluster %s: the scheduler has no workers: start some with `dask worker %s`"
                                % (address, address))
        yield client.get_executor(pure=False), threads


def fly_all(plan: Plan, missing: Sequence[Planned], results: Results, executor: Executor, at_once: int,
            progress: Callable[[int], Any] = lambda count: None) -> None:
    """Fly these dives and keep their rows as they come; `progress(count)` after each chunk.

    Raises CampaignError, or BrokenProcessPool when a process of the pool was killed; then run it again with what is
    still missing.
    """
    for rows in chunked(executor, at_once, (plan, VERSION), missing):
        results.add(rows)
        progress(len(rows))


def chunked(executor: Executor, at_once: int, given: tuple[Plan, str],
            planned: Sequence[Planned]) -> Iterator[list[Row]]:
    """The rows of each chunk, in the order in which they are ready; never many more at work than are needed."""
    todo = iter(gathered(planned, max(1, min(CHUNK, len(planned) // (8 * at_once)))))
    running: set[Future] = set()
    try:
        while True:
            while len(running) < IN_FLIGHT * at_once and (chunk := next(todo, None)) is not None:
                running.add(executor.submit(fly_many, *given, chunk))
            if not running:
                return
            ready, running = wait(running, return_when=FIRST_COMPLETED)
            for future in ready:
                yield future.result()
    finally:
        for future in running:
            future.cancel()


def run(plan: Plan, planned: Sequence[Planned], results: Results, cores: int | None = None,
        address: str | None = None, progress: Callable[[int], Any] = lambda count: None) -> None:
    """Fly what the file does not have yet, with processes or on a cluster. Raises CampaignError.

    A killed process costs a new pool and no dive. When the pool dies again and again, that is told.
    """
    if address is not None:
        with cluster(address) as (executor, at_once):
            try:
                fly_all(plan, _missing(planned, results), results, executor, at_once, progress)
            except CampaignError:
                raise
            except Exception as error:  # the cluster gave a chunk up, or went away
                raise CampaignError("the cluster at %s lost dives for good (%s): what came is kept; run the same"
                                    " command again" % (address, error)) from None
        return
    at_once = cores or os.cpu_count() or 1
    for _ in range(LOST_POOLS_MAX):
        missing = _missing(planned, results)
        if not missing:
            return
        try:
            with processes(min(at_once, len(missing))) as executor:
                fly_all(plan, missing, results, executor, at_once, progress)
        except BrokenProcessPool:
            continue
    if _missing(planned, results):
        raise CampaignError("processes that fly dives are killed again and again, perhaps for want of memory: what"
                            " came is kept; run the same command with fewer --cores")


def _missing(planned: Sequence[Planned], results: Results) -> list[Planned]:
    done = results.done()
    return [dive for dive in planned if dive.number not in done]
