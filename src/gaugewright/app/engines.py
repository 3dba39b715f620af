"""Where tasks run: here, in threads, in processes of this machine, on a cluster.

Every engine gives the same results; they come as they are done.  Never more tasks are under
way than the workers can soon take, so that memory does not grow with their number.
"""

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import ExitStack
from itertools import islice
from typing import Any

from gaugewright.app.watch_task import Done, Task, run_task
from gaugewright.errors import GaugewrightError, InputError

AHEAD = 2
"""Tasks that wait for each worker, so that none is idle."""


class EngineError(GaugewrightError):
    """A worker was lost or the cluster cannot be reached; what was finished is kept."""


def default_jobs() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def run_here(tasks: Iterable[Task]) -> Iterator[Done]:
    """Run one task after the other."""
    return map(run_task, tasks)


def run_in_threads(tasks: Iterable[Task], jobs: int) -> Iterator[Done]:
    """Run in threads; compiled code lets the others run meanwhile."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(jobs, thread_name_prefix="watch") as pool:
        yield from _pooled(pool, tasks, jobs)


def run_in_processes(tasks: Iterable[Task], jobs: int) -> Iterator[Done]:
    """Run in processes, each started anew, which every system can."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        try:
            yield from _pooled(pool, tasks, jobs)
        except BrokenExecutor:
            raise EngineError(
                "a worker process was ended from outside, likely for want of memory; run again "
                "with fewer --jobs: what is finished is not done twice"
            ) from None


def run_on_cluster(tasks: Iterable[Task], address: str) -> Iterator[Done]:
    """Run on a dask.distributed scheduler; the rows travel with the tasks."""
    try:
        import distributed
    except ImportError:
        raise InputError(
            "needs dask.distributed: pip install 'gaugewright[cluster]'", field="--cluster"
        ) from None
    dask: Any = distributed  # it has types for some of its functions only
    with ExitStack() as closing:
        try:
            client = closing.enter_context(
                dask.Client(address, timeout="10s", set_as_default=False)
            )
        except (OSError, ValueError) as error:
            raise EngineError(f"the cluster at {address} does not answer: {error}") from None
        workers = max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        waiting = iter(tasks)

        def sent(task: Task) -> Any:
            rows = client.scatter(task.loaded(), hash=False, direct=False)
            return client.submit(run_task, rows, pure=False)

        first = [sent(task) for task in islice(waiting, workers * AHEAD)]
        running = dask.as_completed(first, loop=client.loop)
        for future in running:
            yield future.result()
            for task in islice(waiting, 1):
                running.add(sent(task))


def _pooled(pool: Executor, tasks: Iterable[Task], jobs: int) -> Iterator[Done]:
    waiting = iter(tasks)
    running: set[Future[Done]] = {
        pool.submit(run_task, task) for task in islice(waiting, jobs * AHEAD)
    }
    try:
        while running:
            done, running = wait(running, return_when=FIRST_COMPLETED)
            running |= {pool.submit(run_task, task) for task in islice(waiting, len(done))}
            for future in done:
                yield future.result()
    finally:
        for future in running:
            future.cancel()


Engine = Callable[[Iterable[Task]], Iterator[Done]]
