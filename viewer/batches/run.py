"""Batches of work on processes of this machine or on a cluster, with what is done kept on disk.

Batches are fixed beforehand and each item is done by itself, so that the results do not depend on how many
processes there are, on their order, or on where a run was stopped.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from roofmodel.errors import InputError
from viewer.batches.journal import Journal

PATIENCE = "10s"  # with a scheduler that does not answer
AHEAD = 3  # batches handed out for each process
Batch = tuple[Any, ...]
Road = Generator[tuple[int, list[dict[str, Any]]], None, None]  # number of a batch, its results
Tell = Callable[[int, int], None]  # items done, of all
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


@dataclass(frozen=True)
class Work:
    """What is done with every batch; all of it can be sent to another process.

    Attributes
    ----------
    do : callable
        Takes a batch and `shared`, and returns one entry of plain data for each item.
    shared : object
        What all batches need.
    failed : callable
        Takes an item and a reason, and returns the entry of an item that could not be done.
    """

    do: Callable[[Batch, Any], list[dict[str, Any]]]
    shared: Any
    failed: Callable[[Any, str], dict[str, Any]]


def batches_of(items: Sequence[Any], size: int) -> list[Batch]:
    """Fixed batches of so many items, in their order."""
    return [tuple(items[at : at + size]) for at in range(0, len(items), size)]


def processors() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0))


def run_batches(
    batches: Sequence[Batch],
    work: Work,
    journal: Journal,
    tell: Tell,
    processes: int,
    cluster: str | None = None,
) -> list[dict[str, Any]]:
    """Entries of all items, in their order.

    Parameters
    ----------
    batches : sequence of tuple
    work : Work
    journal : Journal
        Takes each batch as it is done; batches that it holds are not calculated again.
    tell : callable
        Is told how many items are done.
    processes : int
        On this machine.
    cluster : str, optional
        Address of a Dask scheduler, in place of processes.
    """
    total = sum(len(batch) for batch in batches)
    count = sum(len(batches[b]) for b in journal.done)
    tell(count, total)
    todo = {b: batch for b, batch in enumerate(batches) if b not in journal.done}
    road = _on_cluster(todo, work, cluster) if cluster else _on_processes(todo, work, processes)
    with contextlib.closing(road):
        for number, results in road:
            journal.add(number, results)
            count += len(results)
            tell(count, total)
    return [one for b in range(len(batches)) for one in journal.done[b]]


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    """Processes started inside take one thread each for linear algebra."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _on_processes(todo: dict[int, Batch], work: Work, processes: int) -> Road:
    """Batches as they are done; a batch during which a process died is taken apart."""
    waiting = list(todo)[::-1]
    broken = dict.fromkeys(todo, 0)  # how often a process died while a batch was open
    with _one_thread():
        while waiting:
            pool = _pool(processes)
            running: dict[Future[list[dict[str, Any]]], int] = {}
            try:
                while waiting or running:
                    while waiting and len(running) < AHEAD * processes:
                        running[pool.submit(work.do, todo[waiting[-1]], work.shared)] = waiting[-1]
                        waiting.pop()
                    for future in wait(running, return_when=FIRST_COMPLETED).done:
                        yield running[future], future.result()
                        del running[future]
            except BrokenProcessPool:
                for number in running.values():
                    broken[number] += 1
                waiting += sorted((b for b in running.values() if broken[b] < 2), reverse=True)
            finally:
                _end(pool)
            for number in sorted(b for b in running.values() if broken[b] >= 2):
                yield number, [_alone(one, work) for one in todo[number]]


def _alone(one: Any, work: Work) -> dict[str, Any]:
    """One item in a process of its own, twice at most."""
    for _ in range(2):
        pool = _pool(1)
        try:
            return pool.submit(work.do, (one,), work.shared).result()[0]
        except BrokenProcessPool:
            continue
        finally:
            _end(pool)
    return work.failed(one, "the process that worked on it died twice; look at it by itself")


def _pool(processes: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_ready)


def _ready() -> None:
    """Called first in each worker: the parent handles Ctrl-C, and nobody outlives it."""
    from multiprocessing import connection, parent_process

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        connection.wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _end(pool: ProcessPoolExecutor) -> None:
    """Stop a pool at once, whatever its processes are doing."""
    workers = list((getattr(pool, "_processes", None) or {}).values())
    for worker in workers:
        worker.terminate()
    pool.shutdown(wait=True, cancel_futures=True)


def _on_cluster(todo: dict[int, Batch], work: Work, address: str) -> Road:
    """Batches as the workers of a Dask cluster do them; the cluster tries batches of lost workers again."""
    from distributed import as_completed

    with _client(address) as client:
        held = client.scatter(work.shared, broadcast=True)
        running = {
            client.submit(work.do, batch, held, pure=False, retries=2): number
            for number, batch in todo.items()
        }
        for future in as_completed(list(running), loop=client.loop):
            number = running.pop(future)
            try:
                results = future.result()
            except Exception as error:
                why = f"the cluster could not do it: {type(error).__name__}: {error}"
                results = [work.failed(one, why) for one in todo[number]]
            yield number, results


def check_cluster(address: str | None) -> None:
    """Refuse a cluster that cannot work, before anything is written.

    Raises
    ------
    InputError
        No Dask, no scheduler, no workers.
    """
    if address is not None:
        _client(address).close()


def _client(address: str) -> Any:
    """Connection to a scheduler that has workers."""
    try:
        from distributed import Client
        from distributed.comm import get_address_host_port
    except ImportError:
        message = "--cluster needs Dask, which is not installed: pip install 'eavewright[cluster]'"
        raise InputError(message) from None
    try:
        get_address_host_port(address)  # a client of no address at all ends with a traceback of its own
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        message = f"--cluster {address}: no scheduler answers there ({reason}); give an address such as tcp://host:8786"
        raise InputError(message) from None
    if not client.scheduler_info()["workers"]:
        client.close()
        message = f"--cluster {address}: the scheduler has no workers; start some, with one thread each"
        raise InputError(message)
    return client
