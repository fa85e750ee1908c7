from __future__ import annotations

from typing import NamedTuple

import pytest

from alerts.days import leaf_at, ledger_of, oz, venue_settings
from unrung.alerts.rules import History, judge_day
from unrung.alerts.state import OpenAlert, next_state
from unrung.settings import Alert


class Found(NamedTuple):
    key: str
    volume_ul: int


def test_a_new_alert_is_told_and_stands_open() -> None:
    state = next_state({}, [Found("stout", 100)])
    assert state.tell == ("stout",)
    assert state.open == {"stout": OpenAlert(100, 100)}


@pytest.mark.parametrize(("volume", "told"), [(100, 0), (199, 0), (200, 1), (500, 1)])
def test_an_open_alert_is_told_again_only_when_it_doubles(volume: int, told: int) -> None:
    state = next_state({"stout": OpenAlert(150, 100)}, [Found("stout", volume)])
    assert len(state.tell) == told
    assert state.open["stout"] == OpenAlert(volume, volume if told else 100)


def test_an_alert_clears_once() -> None:
    cleared = next_state({"stout": OpenAlert(100, 100)}, [])
    assert (cleared.open, cleared.cleared) == ({}, ("stout",))
    assert next_state(cleared.open, []).cleared == ()


def test_fifty_equal_runs_tell_once() -> None:
    open_alerts: dict[str, OpenAlert] = {}
    told = 0
    for _ in range(50):
        state = next_state(open_alerts, [Found("stout", 100)])
        open_alerts, told = state.open, told + len(state.tell)
    assert told == 1


def test_a_sawtooth_round_the_limit_tells_once() -> None:
    """70, 55, 70, 55 ... fl oz against a limit of 64: 55 is above four fifths of it."""
    settings = venue_settings(alert=(Alert(name="a", per="product_day", min_volume=64),))
    open_alerts: dict[str, OpenAlert] = {}
    told = cleared = 0
    for amount in (70, 55) * 20:
        day = ledger_of(leaf_at(20, matched_portion=900, poured_not_rung=amount))
        raised = judge_day(day, settings, History(30, open=open_alerts))
        state = next_state(open_alerts, raised)
        open_alerts = state.open
        told, cleared = told + len(state.tell), cleared + len(state.cleared)
    assert (told, cleared) == (1, 0)
    assert next(iter(open_alerts.values())).told_ul == oz(70)
