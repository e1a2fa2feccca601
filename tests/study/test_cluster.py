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


def hanging_in_the_third_block(marker: str) -> Callable[[], int]:
    """Lets a worker compute two blocks and never end the next; gives its process id.

    A function made here travels to the worker whole: it cannot import this module.
    """

    def patch() -> int:
        whole, seen = study.block, list[int]()

        def hanging(index: int, document: bytes, most: int) -> Any:
            seen.append(index)
            if len(seen) > 2:
                Path(marker).write_text(f"{seen}")
                threading.Event().wait()
            return whole(index, document, most)

        study.block = hanging
        return os.getpid()

    return patch


def waited_for(happened: Callable[[], Any]) -> Any:
    end = time.monotonic() + PATIENCE
    while not (found := happened()):
        assert time.monotonic() < end, "it never happened"
        time.sleep(0.01)
    return found


def same(found: Any, expected: Any) -> bool:
    return found.keys() == expected.keys() and all(
        found[name].tobytes() == expected[name].tobytes() for name in expected
    )


def test_a_killed_worker_changes_not_one_bit(cluster: Any, tmp_path: Path) -> None:
    """It holds blocks computed, which nobody has fetched, and another one unfinished.

    Certain, as it hangs in that one, and the sweep takes in no second block before the kill.
    """
    request = sampled(samples=2500, distances=["18 m", "50 m", "70 m", "400 m"])
    alone = study.sweep(request)
    assert np.isnan(alone.columns["speed"]).any() and len(alone.columns["speed"]) == 30_000
    victim = next(iter(cluster.scheduler_info()["workers"]))
    marker = tmp_path / "hangs"
    pids = cluster.run(hanging_in_the_third_block(str(marker)), workers=[victim])
    found: list[Any] = []
    done: list[int] = []
    killed = threading.Event()

    def held_back(block: int, _: int) -> None:
        done.append(block)
        assert killed.wait(PATIENCE)

    run = threading.Thread(
        target=lambda: found.append(study.sweep(request, client=cluster, progress=held_back)),
        daemon=True,
    )
    run.start()
    waited_for(marker.exists)
    # The scheduler hears of what is finished a little later.
    lost = waited_for(lambda: {*cluster.has_what()[victim]})
    assert all("block" in str(key) for key in lost)
    assert len(done) <= 1 and not found
    os.kill(pids[victim], signal.SIGKILL)
    waited_for(lambda: victim not in cluster.scheduler_info()["workers"])
    killed.set()
    run.join(PATIENCE)
    assert not run.is_alive() and done[-1] == len(done) > 8
    assert same(found[0].columns, alone.columns)
    assert same(found[0].quantiles, alone.quantiles)
    assert found[0].notes == alone.notes and found[0].about == alone.about


class Interrupted(Exception):
    """What a caller ends a sweep by."""


def test_one_sweep_s_end_does_not_cancel_another_of_the_same_request(cluster: Any) -> None:
    request = sampled(samples=2500, distances=["18 m", "50 m", "70 m"])
    begun, ended = threading.Event(), threading.Event()
    found: list[Any] = []

    def waiting(block: int, _: int) -> None:
        begun.set()
        assert block > 1 or ended.wait(PATIENCE)

    def interrupted(block: int, _: int) -> None:
        if block == 2:
            raise Interrupted

    run = threading.Thread(
        target=lambda: found.append(study.sweep(request, client=cluster, progress=waiting)),
        daemon=True,
    )
    run.start()
    assert begun.wait(PATIENCE)
    with pytest.raises(Interrupted):
        study.sweep(request, client=cluster, progress=interrupted)
    ended.set()
    run.join(PATIENCE)
    assert same(found[0].columns, study.sweep(request).columns)


def without_the_drag_model() -> Callable[[], None]:
    """Takes a model from a worker."""

    def patch() -> None:
        whole = study._registry()
        kept = [model for name, model in whole.models["drag"].items() if name != "constant"]
        fewer = type(whole).of(*kept, *whole.models["launch"].values())
        study._registry = lambda: fewer

    return patch


def test_what_a_worker_refuses_is_told_here(cluster: Any) -> None:
    request = sampled(distances=["1 m"])
    with pytest.raises(study.Refused, match="Too near") as caught:
        study.sweep(request, client=cluster)
    assert caught.value.errors[0][0] == "/distances/0"
    workers = "|".join(cluster.scheduler_info()["workers"])
    cluster.run(lambda: setattr(study, "__version__", "0.0.0"))
    with pytest.raises(study.ClusterDiffers, match=rf"worker at ({workers}) computes .*0\.0\.0"):
        study.sweep(sampled(seed=77), client=cluster)
    cluster.run(without_the_drag_model())
    with pytest.raises(study.ClusterDiffers, match=rf"worker at ({workers}) cannot") as differs:
        study.sweep(sampled(seed=78), client=cluster)
    assert "no drag model" in str(differs.value)
