"""A window on a made-up reader, closed with its threads at the end of each test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.bench_work import DecodeKey, decoder_for
from app.picture.values import PictureReading
from app.window.main_window import MainWindow
from keycore.decode import Decoder, Decoding
from keycore.spec import KeySpec, load_spec
from tests.app.made import Reader, made_reading, png


@pytest.fixture
def spec() -> KeySpec:
    """The invented table of the demo."""
    return load_spec("harbourside-5")


@pytest.fixture(scope="session")
def decoding() -> Decoding:
    """What the made-up reading decodes to."""
    table = load_spec("harbourside-5")
    return Decoder(made_reading(table).readings, table).decoding()


@pytest.fixture
def reader(monkeypatch: pytest.MonkeyPatch) -> Reader:
    """The made-up reader in the place of the real one; a picture of shade 9 shows no key."""
    made = Reader(blank=frozenset({9}))
    monkeypatch.setattr("app.picture.read.read_picture", made)
    return made


@pytest.fixture(autouse=True)
def _decode_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same readings are decoded once for all tests: the window is tested here, not the decoder."""
    monkeypatch.setattr("app.bench_work.decoder_for", _decoder_for)
    monkeypatch.setattr("app.bench.decoder_for", _decoder_for)


def _decoder_for(key: DecodeKey, readings: list[PictureReading]) -> Decoder:
    if key not in _DECODERS:
        _DECODERS[key] = decoder_for(key, readings)
    return _DECODERS[key]


_DECODERS: dict[DecodeKey, Decoder] = {}


@pytest.fixture
def make_window(qtbot: QtBot, reader: Reader) -> Iterator[Callable[[Bench | None], MainWindow]]:
    """Makes windows and closes them."""
    made: list[MainWindow] = []

    def make(bench: Bench | None = None) -> MainWindow:
        window = MainWindow(bench)
        made.append(window)
        qtbot.addWidget(window)
        window.resize(1280, 780)
        with qtbot.waitExposed(window):
            window.show()
        return window

    yield make
    for window in made:
        window.close()
        if not window.closed:  # a job that cannot be saved stays the first time; a slow one is waited for
            window.session.close()
            window.close()


@pytest.fixture
def empty_window(make_window: Callable[[Bench | None], MainWindow]) -> MainWindow:
    """A window with nothing in it."""
    return make_window(None)


@pytest.fixture
def window(make_window: Callable[[Bench | None], MainWindow], qtbot: QtBot, spec: KeySpec) -> MainWindow:
    """A window with a read job: the picture of a made-up key, its table, and the code."""
    bench = Bench("T-1", now=datetime(2026, 3, 4, 9, 0, tzinfo=UTC))
    bench.set_spec(spec)
    bench.open_picture(png(), name="copy.png")
    shown = make_window(bench)
    wait_read(shown, qtbot)
    return shown


def wait_read(window: MainWindow, qtbot: QtBot) -> None:
    """Wait until the job is read, its strip is made and the picture can be drawn."""
    session = window.session
    qtbot.waitUntil(
        lambda: (
            session.bench.is_current
            and session.layers() is not None
            and bool(session.strip)
            and not session.worker.busy()
        ),
        timeout=20_000,
    )
