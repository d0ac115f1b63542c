"""A trial plan's search at the command line: told of, stopped, and never silent about what went wrong."""

from __future__ import annotations

import threading

import pytest

import app.commands_search as commands_search
from app.commands_search import searched
from keycore.refusal import Refusal
from keycore.spec import load_spec
from keycore.trials import TrialPlan, plan_trials

HARBOURSIDE = load_spec("Harbourside 5")
PLAN = plan_trials([(tuple("12355"), 0.5), (tuple("13365"), 0.25)], HARBOURSIDE)


def test_the_last_plan_is_the_one_that_counts():
    """A search that ends says nothing, and gives what it returned."""
    said: list[str] = []

    def search(better):
        better(plan_trials([(tuple("12355"), 0.5)], HARBOURSIDE))
        return PLAN

    assert searched(search, said.append) is PLAN and not said


def test_a_search_that_takes_long_says_how_far_it_is_and_how_to_stop(monkeypatch):
    """What is found, how good it is, and that Ctrl-C takes it."""
    monkeypatch.setattr(commands_search, "_TELL_AFTER_S", 0.0)
    monkeypatch.setattr(commands_search, "_LOOK_EVERY_S", 0.01)
    said: list[str] = []
    heard = threading.Event()

    def search(better):
        better(PLAN)
        assert heard.wait(20)
        return PLAN

    def say(sentence):
        said.append(sentence)
        heard.set()

    searched(search, say)

    assert f"{PLAN.expected_blanks:.4f} blanks on average" in said[0] and "Ctrl-C takes this plan" in said[0]


def test_stopped_by_hand_it_gives_what_it_has(monkeypatch):
    """Ctrl-C while the solver works: the plan so far, at once."""
    monkeypatch.setattr(commands_search, "_TELL_AFTER_S", 0.0)
    monkeypatch.setattr(commands_search, "_LOOK_EVERY_S", 0.01)
    ends = threading.Event()

    def search(better):
        better(PLAN)
        ends.wait(20)
        return PLAN

    def stop(sentence):
        raise KeyboardInterrupt

    try:
        assert searched(search, stop) is PLAN
    finally:
        ends.set()


def test_a_refusal_of_the_search_is_the_commands_own():
    """What goes wrong on the thread is raised where the person waits."""

    def search(better) -> TrialPlan:
        raise Refusal("There is no candidate code to plan for; read the key first.", code="trials.none")

    with pytest.raises(Refusal, match="no candidate"):
        searched(search, print)
