"""A recording played back, and figures typed by hand."""

import time
from datetime import UTC, datetime

import pytest

from gaugewright.errors import InputError, SourceError, SourceTimeoutError
from gaugewright.instruments.catalog import settings_of, source_of
from gaugewright.instruments.events import Reading, TroubleKind
from gaugewright.instruments.manual import ManualSettings, ManualSource
from gaugewright.instruments.replay import ReplaySettings, ReplaySource
from gaugewright.testing.sources import FarEnd, SourceContract, listening


class Recording(FarEnd):
    def __init__(self, path):
        self.path = path
        # A player has no line: every value that the contract asks for is on the tape.
        self.path.write_text("time,counts\n" + "".join(f"{n / 100},{n}\n" for n in range(2000)))

    def source(self, **settings):
        return ReplaySource(ReplaySettings(path=str(self.path), **settings))

    def send(self, counts):
        pass

    def close(self):
        pass


class TestReplay(SourceContract):
    @pytest.fixture
    def far(self, tmp_path):
        return Recording(tmp_path / "record.csv")


class Fingers(FarEnd):
    def source(self, **settings):
        self.typed = ManualSource(ManualSettings(**settings))
        return self.typed

    def send(self, counts):
        self.typed.enter(f"{counts:g}")

    def close(self):
        pass


class TestManual(SourceContract):
    @pytest.fixture
    def far(self):
        return Fingers()


def replayed(path, **settings):
    with ReplaySource(ReplaySettings(path=str(path), **({"speed": None} | settings))) as source:
        return list(source.readings())


def test_a_recording_with_zoned_times_keeps_them_beside_the_arrival(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text(
        "time;counts;temperature_c\n2026-05-01T10:00:00+02:00;12,5;18,4\n"
        "2026-05-01T10:00:01+02:00;13;\n"
    )

    one, two = replayed(path)

    assert (one.counts, one.temperature_c) == (12.5, 18.4)
    assert one.device_at == datetime(2026, 5, 1, 8, tzinfo=UTC)
    assert (two.counts, two.temperature_c) == (13, None)


def test_the_speed_stretches_the_recorded_times(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("time,counts\n0,1\n10,2\n20,3\n")

    start_s = time.monotonic()
    events = replayed(path, speed=50.0)

    assert [e.counts for e in events] == [1, 2, 3]
    assert events[2].monotonic_s - events[0].monotonic_s == pytest.approx(0.4, abs=0.15)
    assert time.monotonic() - start_s < 2


def test_a_row_that_cannot_be_read_is_shown_and_the_rest_goes_on(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("time,counts\n0,1\n1,abc\n2\n2026-05-01T10:00:00,4\n3,nan\n\n4,5\n")

    events = replayed(path)

    assert [e.kind for e in events[1:-1]] == [TroubleKind.GARBAGE] * 4
    assert [e.counts for e in (events[0], events[-1])] == [1, 5]
    assert "ISO 8601 with a zone" in events[3].message


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "there is no column 'time'; the header has nothing"),
        (b"time,level\n", "there is no column 'counts'; the header has time, level"),
        (b"\xff\xfe\x00", "is not a UTF-8 text file"),
    ],
)
def test_a_file_that_is_no_recording_is_refused(tmp_path, content, said):
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    with pytest.raises(InputError) as refused:
        replayed(path)
    assert said in str(refused.value)


def test_a_missing_recording_is_an_error_with_its_name(tmp_path):
    with pytest.raises(SourceError, match=r"nothing\.csv"):
        replayed(tmp_path / "nothing.csv")


@pytest.mark.parametrize("text", ["", "l2", "4096", "-1", "nan", "1.2.3"])
def test_what_is_typed_wrong_is_refused_at_once(text):
    source = ManualSource(ManualSettings())
    with pytest.raises(InputError, match="counts: "):
        source.enter(text)
    with listening(source) as events, pytest.raises(SourceTimeoutError):
        events.get(0.2)


def test_typed_figures_come_in_order():
    source = ManualSource(ManualSettings())
    with listening(source) as events:
        for text in ("1", "2,5", "3"):
            source.enter(text)
        got = [events.get(1) for _ in range(3)]
    assert [e.counts for e in got if isinstance(e, Reading)] == [1, 2.5, 3]


@pytest.mark.parametrize("mapping", [{}, {"kind": "psychic"}, {"kind": 3}])
def test_an_unknown_kind_of_source_is_refused_with_the_known_ones(mapping):
    with pytest.raises(InputError, match="kind: must be one of serial_text, modbus_tcp"):
        settings_of(mapping)


def test_a_source_is_built_from_settings_kept_in_a_book():
    source = source_of(settings_of({"kind": "manual", "counts_max": 1023}))
    assert isinstance(source, ManualSource)
    assert source.settings.counts_max == 1023
