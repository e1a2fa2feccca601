"""A real cluster of two worker processes on this machine, one of which is killed in mid-run."""

import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from swept import sampled

from arrowloft import study

dask = pytest.importorskip("dask")
distributed = pytest.importorskip("distributed")

PATIENCE = 50.0
"""Seconds after which anything here has failed, not waited."""


@pytest.fixture
def cluster() -> Any:
    """Two workers of one thread each, on loopback, without a dashboard.

    Neither takes over what was given to the other, so that each has two blocks for certain.
    """
    with (
        dask.config.set({"distributed.scheduler.work-stealing": False}),
        distributed.LocalCluster(
            n_workers=2,
            processes=True,
            threads_per_worker=1,
            host="127.0.0.1",
            dashboard_address=None,
            memory_limit=0,
        ) as made,
        distributed.Client(made, timeout=PATIENCE) as client,
    ):
        client.wait_for_workers(2, timeout=PATIENCE)
        yield client


def hanging_in_the_second_block(marker: str) -> Callable[[], int]:
    """Lets a worker compute one block and never end the next; gives its process id.

    A function made here travels to the worker whole: it cannot import this module.
    """

    def patch() -> int:
        whole, seen = study.block, list[int]()

        def hanging(index: int, document: bytes, most: int) -> Any:
            seen.append(index)
            if len(seen) > 1:
                Path(marker).write_text(f"{seen}")
                threading.Event().wait()
            return whole(index, document, most)

        study.block = hanging
        return os.getpid()

    return patch


def waited_for(path: Path) -> None:
    end = time.monotonic() + PATIENCE
    while not path.exists():
        assert time.monotonic() < end, "the worker never came to its second block"
        time.sleep(0.01)


def same(found: Any, expected: Any) -> bool:
    return found.keys() == expected.keys() and all(
        np.array_equal(found[name], expected[name], equal_nan=True) for name in expected
    )


def test_a_killed_worker_changes_not_one_bit(cluster: Any, tmp_path: Path) -> None:
    """It holds a block computed and another one unfinished: certain, as it hangs in that."""
    request = sampled(samples=2500, distances=["18 m", "50 m", "70 m", "400 m"])
    alone = study.sweep(request)
    assert np.isnan(alone.columns["speed"]).any() and len(alone.columns["speed"]) == 30_000
    victim = next(iter(cluster.scheduler_info()["workers"]))
    marker = tmp_path / "hangs"
    pids = cluster.run(hanging_in_the_second_block(str(marker)), workers=[victim])
    found: list[Any] = []
    done: list[int] = []
    run = threading.Thread(
        target=lambda: found.append(
            study.sweep(request, client=cluster, progress=lambda n, _: done.append(n))
        ),
        daemon=True,
    )
    run.start()
    waited_for(marker)
    assert run.is_alive() and not found
    os.kill(pids[victim], signal.SIGKILL)
    run.join(PATIENCE)
    assert not run.is_alive() and done[-1] == len(done) > 8
    assert same(found[0].columns, alone.columns)
    assert same(found[0].quantiles, alone.quantiles)
    assert found[0].notes == alone.notes and found[0].about == alone.about


def test_what_a_worker_refuses_is_told_here(cluster: Any) -> None:
    request = sampled(distances=["1 m"])
    with pytest.raises(study.Refused, match="Too near") as caught:
        study.sweep(request, client=cluster)
    assert caught.value.errors[0][0] == "/distances/0"
    cluster.run(lambda: setattr(study, "__version__", "0.0.0"))
    with pytest.raises(study.ClusterDiffers, match=r"0\.0\.0"):
        study.sweep(sampled(seed=77), client=cluster)
