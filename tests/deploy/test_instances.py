"""The service itself behind nginx: what is asked is answered, whatever becomes of an instance.

Counts and times of a longer run are for `deploy/faults`.
"""

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import requests
from load_client import Ask, start
from processes import wait_until
from proxied import Instance, proxy, served
from strangers import demo_request, wait_until_served
from wire import message

SETTINGS = {"ARROWLOFT_WORKERS": "2", "ARROWLOFT_PROXIES": "1", "ARROWLOFT_LOG_LEVEL": "warning"}
PATIENCE = 40.0


def kill_a_worker(instance: Instance) -> None:
    os.kill(instance.workers()[0], signal.SIGKILL)


def kill_all(instance: Instance) -> None:
    for process in (instance.service.process.pid, *instance.workers()):
        os.kill(process, signal.SIGKILL)


def stop(instance: Instance) -> None:
    instance.service.process.terminate()
    instance.service.process.wait(PATIENCE)


def reload(instance: Instance) -> None:
    before = set(instance.workers())
    instance.service.process.send_signal(signal.SIGHUP)
    assert wait_until(lambda: not before & set(instance.workers()), PATIENCE)


@pytest.mark.parametrize("end", [stop, kill_all])
def test_nothing_is_lost(tmp_path: Path, end: Callable[[Instance], None]) -> None:
    body = demo_request()
    with (
        served(tmp_path / "a", SETTINGS, wait=False) as one,
        served(tmp_path / "b", SETTINGS, wait=False) as two,
        proxy(tmp_path / "nginx", [one.port, two.port], rates="") as front,
    ):
        for instance in (one, two):
            wait_until_served(instance.service)
        reply = requests.post(f"{front.url}/v1/mark-table", json=body, timeout=PATIENCE)
        assert reply.status_code == 200
        ask = Ask(message=message("POST", "/v1/mark-table", body), body=reply.content)
        faults = [(kill_a_worker, two), (reload, two), (end, one)]
        with start(front.port, [ask], clients=6, seconds=120.0, patience=PATIENCE) as load:
            for fault, instance in faults:
                time.sleep(1.0)
                fault(instance)
            time.sleep(1.0)
            seen = load.stop()
    assert seen.right > 20
    assert seen.failures == 0, str(seen)
