"""Strictness for every test: silence, own folders, no thread left behind, the same made-up inputs every time."""

from __future__ import annotations

import logging
import os
import re
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# Before anything imports Qt: no display is needed, unless the caller names a platform.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

# The same inputs on every run, and no deadline: the machine may be busy.
settings.register_profile("repeatable", derandomize=True, deadline=None, database=None, print_blob=True)
settings.load_profile("repeatable")

FOLDERS = ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME", "LOCALAPPDATA", "APPDATA")


@pytest.fixture(scope="session", autouse=True)
def _no_real_folders() -> Iterator[None]:
    """Whatever runs outside a single test (module fixtures, subprocesses) has no way to a person's own folders."""
    with tempfile.TemporaryDirectory(prefix="valleygauge-tests-") as folder, pytest.MonkeyPatch.context() as patch:
        for name in FOLDERS:
            patch.setenv(name, folder)
        yield


@pytest.fixture(autouse=True)
def _own_folders(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test has settings and data folders of its own, empty at its start."""
    home = tmp_path_factory.mktemp("home")
    for name in FOLDERS:
        monkeypatch.setenv(name, str(home))
    qtcore = sys.modules.get("PySide6.QtCore")
    if qtcore is not None:
        scope = qtcore.QSettings.Scope.UserScope
        for form in (qtcore.QSettings.Format.NativeFormat, qtcore.QSettings.Format.IniFormat):
            qtcore.QSettings.setPath(form, scope, str(home))


class _Collected(logging.Handler):
    def __init__(self) -> None:
        super().__init__(level=logging.WARNING)
        self.records: list[logging.LogRecord] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.records.append(record)


@pytest.fixture
def allow_log(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Call with a pattern: log records that it matches are expected in this test."""
    allowed: list[str] = []
    request.node.stash[ALLOWED] = allowed
    return allowed.append


ALLOWED = pytest.StashKey[list[str]]()


@pytest.fixture(autouse=True)
def _no_unexpected_log(request: pytest.FixtureRequest) -> Iterator[None]:
    """A log record at warning or above fails the test, unless ``allow_log`` said that it comes."""
    handler = _Collected()
    logging.getLogger().addHandler(handler)
    try:
        yield
    finally:
        logging.getLogger().removeHandler(handler)
    allowed = request.node.stash.get(ALLOWED, [])
    unexpected = [
        f"{record.name}: {record.getMessage()}"
        for record in handler.records
        if not any(re.search(pattern, record.getMessage()) for pattern in allowed)
    ]
    if unexpected:
        listed = "\n".join(unexpected)
        pytest.fail(f"unexpected log records; mend the cause, or take the fixture allow_log and name them:\n{listed}")


@pytest.fixture(autouse=True)
def _no_thread_left() -> Iterator[None]:
    """No thread outlives the test that started it."""
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + 3
    while left := [t for t in threading.enumerate() if t not in before and _is_ours(t)]:
        if time.monotonic() > deadline:
            names = ", ".join(t.name for t in left)
            pytest.fail(f"threads still running after the test: {names}; shut their executor down or close the window.")
        time.sleep(0.01)


def _is_ours(thread: threading.Thread) -> bool:
    # a Qt thread that once ran Python shows as a dummy that never ends
    return thread.is_alive() and not isinstance(thread, threading._DummyThread)


@pytest.fixture(scope="session")
def checkout() -> Path:
    """The top folder of the checkout."""
    return Path(__file__).resolve().parent.parent
