from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from service.real import until
from unrung.errors import SourceError
from unrung.service.workers import Step, Worker


@contextmanager
def started(step: Step) -> Iterator[Worker]:
    worker = Worker("test", step)
    worker.start()
    try:
        yield worker
    finally:
        worker.stop()
        assert worker.join(5)


def test_a_worker_sleeps_until_it_is_woken() -> None:
    steps: list[int] = []

    def step() -> float:
        steps.append(1)
        return 1000.0

    with started(step) as worker:
        until(lambda: len(steps) == 1, "the first step")
        worker.wake()
        until(lambda: len(steps) == 2, "the second step")


def test_a_step_that_raises_is_told_and_tried_again() -> None:
    tries: list[int] = []

    def step() -> float:
        tries.append(1)
        if len(tries) == 1:
            raise SourceError("the share is not connected")
        return 1000.0

    with started(step) as worker:
        until(lambda: worker.last_error == "the share is not connected", "the error")
        assert worker.alive
        until(lambda: len(tries) == 2 and not worker.last_error, "a good step")


def test_a_failing_worker_cannot_be_woken_to_fail_again_at_once_but_it_can_be_stopped() -> None:
    tries: list[int] = []

    def step() -> float:
        tries.append(1)
        raise ValueError(f"try {len(tries)}")

    with started(step) as worker:
        until(lambda: worker.failures == 1, "a failure")
        for _ in range(20):
            worker.wake()
        assert not until_or_not(lambda: worker.failures > 1, 0.3)
    assert worker.last_error == f"ValueError: try {len(tries)}"


def test_a_step_that_hangs_is_seen_from_outside_and_does_not_hold_a_stop() -> None:
    release = threading.Event()

    def step() -> float:
        release.wait(60)
        return 0.0

    worker = Worker("test", step)
    worker.start()
    until(lambda: worker.busy_seconds() > 0.1, "a busy worker")
    worker.stop()
    assert not worker.join(0.1)
    release.set()
    assert worker.join(5)


def test_a_stop_is_never_missed_whenever_it_comes() -> None:
    for _ in range(200):
        worker = Worker("test", lambda: 1000.0)
        worker.start()
        worker.stop()
        assert worker.join(5)


def until_or_not(so: object, seconds: float) -> bool:
    try:
        until(so, "", seconds)  # type: ignore[arg-type]
    except AssertionError:
        return False
    return True
