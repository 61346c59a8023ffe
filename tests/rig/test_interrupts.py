"""Ctrl-C as an order: once to vent in order, twice to make the outputs safe, each given once."""

import signal

import pytest

from rig.cli.interrupts import Interrupts
from safety.state import PersonEvent


def test_nothing_is_ordered_while_nobody_presses() -> None:
    with Interrupts() as interrupts:
        assert interrupts.order() is None


def test_the_first_press_stops_in_order_and_the_second_makes_safe_each_once() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.STOP
        assert interrupts.order() is None
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.SAFE_NOW
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is None


def test_two_presses_within_one_scan_make_safe_at_once() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.SAFE_NOW
        assert interrupts.order() is None


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no SIGHUP")
def test_a_closed_terminal_stops_in_order() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGHUP)
        assert interrupts.order() is PersonEvent.STOP


def test_afterwards_the_signal_is_what_it_was() -> None:
    before = signal.getsignal(signal.SIGINT)
    with Interrupts():
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) == before
