"""The limit itself: what it ends, whom it blames, and that it leaves no trace.

No test asks how long something took: what must end would otherwise go on for a minute,
and what must not be ended has an hour.
"""

import io
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from werkzeug.test import EnvironBuilder, run_wsgi_app

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import Settings
from arrowloft.plugin import time_limit
from arrowloft.plugin.time_limit import OutOfTime, Running, TookTooLong, Uninterrupted, within

SOON = 0.2
LATE = 3600.0


@dataclass
class Named:
    kind: str
    name: str


DRAG, LAUNCH = Named("drag", "one"), Named("launch", "other")


def sleep_for_a_minute() -> None:
    time.sleep(60)


def sleep_in(model: Named, seconds: float = 60.0) -> None:
    with Running(model):
        time.sleep(seconds)


@pytest.fixture(autouse=True)
def leaves_no_trace() -> Iterator[None]:
    """Timer and handler are afterwards what they were, whatever happened."""
    before = signal.getsignal(signal.SIGALRM)
    yield
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)
    assert signal.getsignal(signal.SIGALRM) is before


def ended(call: Any, seconds: float = SOON) -> TookTooLong:
    with pytest.raises(TookTooLong) as caught:
        within(seconds, call)
    return caught.value


def test_what_ends_in_time_passes() -> None:
    assert within(LATE, lambda: 17) == 17
    with pytest.raises(KeyError):
        within(LATE, lambda: {}["nothing"])


def test_what_does_not_is_ended() -> None:
    fault = ended(sleep_for_a_minute)
    assert (fault.seconds, fault.model) == (SOON, None)
    assert str(fault) == "took longer than 0.2 s"


def test_the_running_model_is_blamed() -> None:
    assert ended(lambda: sleep_in(DRAG)).model == ("drag", "one")


@pytest.mark.parametrize(("each", "blamed"), [(0.04, ("drag", "one")), (0.001, None)])
def test_a_model_is_to_blame_for_long_calls_alone(
    each: float, blamed: tuple[str, str] | None
) -> None:
    """Many short ones are owed to how much was asked for."""

    def many() -> None:
        while True:
            sleep_in(DRAG, each)

    assert ended(many).model == blamed


@pytest.mark.parametrize(("share", "blamed"), [(0.49, None), (0.5, ("drag", "one"))])
def test_half_of_the_time_is_what_a_model_is_to_blame_for(
    share: float, blamed: tuple[str, str] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(time_limit.HERE.work, "calls", 1)
    watch = time_limit._Watch(1.0)
    watch.spent = {("drag", "one"): share, None: 0.3, ("launch", "other"): 0.7 - share}
    assert watch.blamed() == blamed


def test_what_ran_before_the_limit_runs_after_it() -> None:
    with Running(DRAG):
        within(LATE, lambda: None)
        assert time_limit.HERE.work.model is DRAG
    assert time_limit.HERE.work.model is None


def test_a_look_after_the_end_is_none() -> None:
    watch = time_limit._Watch(LATE)
    watch.start()
    watch.stop()
    watch.due = 0.0
    watch.look(signal.SIGALRM, None)


def test_what_must_not_be_left_half_done_is_ended_at_its_end() -> None:
    done = []

    def drawing() -> None:
        with Uninterrupted():
            with Uninterrupted():
                time.sleep(2 * SOON)
            done.append("whole")
        done.append("more")

    assert ended(drawing).model is None
    assert done == ["whole"]
    assert within(LATE, lambda: 17) == 17


def test_what_an_interrupted_call_had_set_for_itself_is_gone() -> None:
    def ignoring() -> None:
        np.seterr(all="ignore")
        time.sleep(60)

    before = np.geterr()
    ended(ignoring)
    assert np.geterr() == before


def test_the_innermost_model_is_blamed() -> None:
    def nested() -> None:
        with Running(LAUNCH):
            sleep_in(DRAG)

    assert ended(nested).model == ("drag", "one")


def test_after_an_inner_model_the_outer_one_runs_again() -> None:
    def nested() -> None:
        with Running(LAUNCH):
            sleep_in(DRAG, 0.0)
            time.sleep(60)

    assert ended(nested).model == ("launch", "other")


def test_a_model_that_was_quick_is_not_blamed_for_what_was_slow() -> None:
    def quick_at_the_end() -> None:
        time.sleep(0.9)
        sleep_in(DRAG)

    assert ended(quick_at_the_end, 1.0).model is None


def test_the_slowest_of_several_is_not_blamed_for_less_than_half() -> None:
    def shared() -> None:
        sleep_in(DRAG, 0.8)
        sleep_in(LAUNCH, 0.6)
        time.sleep(60)

    assert ended(shared, 2.0).model is None


def test_a_model_that_catches_exceptions_is_ended() -> None:
    def stubborn() -> None:
        while True:
            try:
                sleep_in(DRAG)
            except Exception:
                continue

    assert ended(stubborn).model == ("drag", "one")


def test_a_model_that_catches_everything_once_is_interrupted_anew() -> None:
    caught = []

    def stubborn() -> None:
        try:
            sleep_in(DRAG)
        except BaseException as error:
            caught.append(error)
        sleep_in(DRAG)

    assert ended(stubborn).model == ("drag", "one")
    assert [type(error) for error in caught] == [OutOfTime]


def test_a_limit_inside_another_leaves_the_outer_in_force() -> None:
    assert ended(lambda: within(LATE, sleep_for_a_minute)).seconds == SOON


def test_the_next_call_has_the_whole_time() -> None:
    for _ in range(2):
        ended(lambda: sleep_in(DRAG))
        # No model runs any more, though the last one never came to its end.
        assert ended(sleep_for_a_minute).model is None


def test_a_timer_of_someone_else_is_left_alone() -> None:
    heard = []
    before = signal.signal(signal.SIGALRM, lambda *_: heard.append("theirs"))
    signal.setitimer(signal.ITIMER_REAL, 0.3)
    try:
        within(0.05, lambda: time.sleep(1.0))
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
    assert heard == ["theirs"]


def test_a_handler_of_someone_else_is_given_back() -> None:
    def theirs(*_: Any) -> None:
        raise AssertionError("it was not for them")

    before = signal.signal(signal.SIGALRM, theirs)
    try:
        ended(sleep_for_a_minute)
        assert signal.getsignal(signal.SIGALRM) is theirs
    finally:
        signal.signal(signal.SIGALRM, before)


def test_another_thread_has_no_limit() -> None:
    told: list[Any] = []
    thread = threading.Thread(
        target=lambda: told.append(within(SOON, lambda: time.sleep(3 * SOON) or "whole"))
    )
    thread.start()
    thread.join(60)
    assert told == ["whole"]


def test_a_model_in_another_thread_is_not_blamed() -> None:
    over = threading.Event()

    def beside() -> None:
        while not over.is_set():
            sleep_in(LAUNCH, 0.01)

    thread = threading.Thread(target=beside)
    thread.start()
    try:
        assert ended(lambda: sleep_in(DRAG)).model == ("drag", "one")
    finally:
        over.set()
        thread.join(60)


class Dripping(io.RawIOBase):
    """A body that does not come."""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        time.sleep(60)
        return 0


def test_a_body_that_does_not_come_is_its_sender_s_fault(
    caplog: pytest.LogCaptureFixture,
) -> None:
    app = create_app(settings=Settings(limits=Limits(seconds=SOON)))
    environ = EnvironBuilder(
        "/v1/mark-table", method="POST", content_type="application/json", data=b" " * 100
    ).get_environ()
    environ["wsgi.input"] = io.BufferedReader(Dripping())
    body, status, _ = run_wsgi_app(app, environ)
    assert status.startswith("408")
    assert b'"/problems/body-too-slow"' in b"".join(body)
    assert not caplog.records
