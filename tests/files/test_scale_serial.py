"""A simulated scale at the other end of a pseudo-terminal, and one behind a local address."""

from __future__ import annotations

import http.server
import os
import pty
import threading
import time
import tty

import pytest

from trayside.app.scale_port import Reading, ScaleWatch
from trayside.errors import ImpossibleValue
from trayside.files.scale_http import HttpScale, read_answer
from trayside.files.scale_lines import read_line
from trayside.files.scale_serial import SerialScale
from trayside.model.rules import ScaleSettings

SETTINGS = ScaleSettings()


@pytest.mark.parametrize(
    ("line", "reading"),
    [
        ("ST,GS,+  2.315kg", Reading(2315.0, True, False)),
        ("US,GS,+  2.311kg", Reading(2311.0, False, False)),
        ("ST,NT,+0002.315 kg", Reading(2315.0, True, True)),
        ("ST,GS,-  0.004kg", Reading(-4.0, True, False)),
        ("ST;GS;+  2,315kg", Reading(2315.0, True, False)),
        ("ST,GS,   812.5g", Reading(812.5, True, False)),
        ("OL,GS,+999.999kg", Reading(0.0, False, False, over=True)),
    ],
)
def test_a_line_is_read(line, reading):
    assert read_line(line, SETTINGS) == reading


def test_pounds_and_ounces_are_those_of_scales():
    # 0.45359237 kg a pound: UCUM 2.2 ucum-essence.xml, [lb_av] (seen); 16 ounces a pound: same, [oz_av] (from memory)
    assert read_line("ST,GS,+ 1.000lb", SETTINGS).mass_g == pytest.approx(453.59237)
    assert read_line("ST,GS,+ 16.00oz", SETTINGS).mass_g == pytest.approx(453.59237)


@pytest.mark.parametrize("line", ["", "hello", "ST,GS,+   kg", "ST,GS", "2.315", "ST,GS,+1..2kg", "\x00\xff" * 40])
def test_a_line_of_another_shape_is_refused_in_words(line):
    with pytest.raises(ImpossibleValue) as refused:
        read_line(line, SETTINGS)
    assert "bench.scale" in refused.value.remedy


def test_another_scale_is_described_by_its_pattern():
    other = ScaleSettings(
        pattern=r"(?P<mass>[0-9.]+) (?P<stable>[*?])", stable_words=("*",), over_words=("!",), unit="g"
    )
    assert read_line("812.5 *", other) == Reading(812.5, True, None)
    assert read_line("812.5 ?", other) == Reading(812.5, False, None)


@pytest.mark.parametrize("pattern", ["(", "(?P<mass>.*)", "no groups"])
def test_a_pattern_that_cannot_be_is_refused(pattern):
    with pytest.raises(ValueError, match=r"regular expression|named groups"):
        ScaleSettings(pattern=pattern)


class Clock:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def watching() -> tuple[ScaleWatch, Clock]:
    clock = Clock()
    return ScaleWatch(name="scale", empty_g=20, seconds=clock), clock


@pytest.mark.parametrize(
    ("reading", "state"),
    [
        (Reading(2315.0, True), "stable"),
        (Reading(2315.0, False), "moving"),
        (Reading(4.0, True), "empty"),
        (Reading(-300.0, True), "below zero"),
        (Reading(0.0, False, over=True), "over"),
    ],
)
def test_only_a_mass_that_stands_still_is_given(reading, state):
    watch, _ = watching()
    watch.take(reading)
    assert watch.now().state == state
    assert watch.now().mass_g == (2315 if state == "stable" else None)


def test_an_old_reading_is_none():
    watch, clock = watching()
    watch.take(Reading(2315.0, True))
    clock.now_s += 3.5
    assert watch.now().state == "silent"
    assert watch.now().mass_g is None


def test_a_second_bag_counts_as_another_load_only_after_the_scale_was_empty():
    watch, _ = watching()
    watch.take(Reading(2315.0, True))
    first = watch.now().load
    watch.take(Reading(2316.0, True))
    assert watch.now().load == first
    watch.take(Reading(1.0, True))
    watch.take(Reading(1980.0, True))
    assert watch.now().load == first + 1


class Instrument:
    """Sends lines at the far end of a pseudo-terminal, as a scale with continuous output does."""

    def __init__(self) -> None:
        self.far, near = pty.openpty()
        tty.setraw(near)
        self.port = os.ttyname(near)
        self._near = near

    def send(self, text: str) -> None:
        os.write(self.far, text.encode("ascii"))

    def close(self) -> None:
        for end in (self.far, self._near):
            if end is not None:
                os.close(end)


@pytest.fixture
def instrument():
    one = Instrument()
    yield one
    one.close()


@pytest.fixture
def scale(instrument):
    one = SerialScale(ScaleSettings(name="bench scale", port=instrument.port))
    yield one
    one.close()


def until(scale, state: str, *, send=None, mass_g: int | None = None, seconds: float = 5.0):
    """Wait until the scale shows this, sending the same line all the while."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if send:
            send()
        now = scale.now()
        if now.state == state and (mass_g is None or now.mass_g == mass_g):
            return now
        time.sleep(0.03)
    raise AssertionError(f"still {scale.now()}")


def test_a_bag_put_on_the_scale_is_refused_while_it_moves_and_given_when_it_stands(instrument, scale):
    def sends(line):
        return lambda: instrument.send(line + "\r\n")

    assert until(scale, "empty", send=sends("ST,GS,+  0.000kg")).mass_g is None
    assert until(scale, "moving", send=sends("US,GS,+  1.830kg")).mass_g is None
    now = until(scale, "stable", send=sends("ST,GS,+  2.315kg"))
    assert (now.mass_g, now.name, now.load) == (2315, "bench scale", 1)
    assert until(scale, "over", send=sends("OL,GS,+ 99.999kg")).mass_g is None


def test_a_line_cut_in_pieces_is_one_reading_and_half_a_first_line_is_none(instrument, scale):
    def in_pieces():
        for piece in ("5.000kg\r\nST,GS,", "+  1.2", "34kg", "\r\nST,GS,+  "):  # it is sending whenever one listens
            instrument.send(piece)
            time.sleep(0.02)
            assert scale.now().mass_g in (None, 1234, 5000)

    # Any piece taken for a line would show as another mass, such as 34 kg.
    assert until(scale, "stable", send=in_pieces, mass_g=1234).load == 1
    for _ in range(20):
        in_pieces()


def test_noise_is_said_and_the_next_line_is_read_again(instrument, scale):
    until(scale, "unreadable", send=lambda: instrument.send("\x01\x02garbage\r\n"))
    assert "garbage" in scale.now().why
    assert until(scale, "stable", send=lambda: instrument.send("ST,NT,+  0.900kg\r\n")).mass_g == 900


def test_endless_noise_without_a_line_end_does_not_pile_up(instrument, scale):
    until(scale, "unreadable", send=lambda: instrument.send("x" * 500))


def test_a_port_that_is_not_there_is_said_in_words(tmp_path):
    scale = SerialScale(ScaleSettings(port=str(tmp_path / "no-such-port")))
    try:
        until(scale, "silent")
        assert "does not answer" in until_told(scale)
    finally:
        scale.close()


def until_told(scale) -> str:
    end = time.monotonic() + 5
    while time.monotonic() < end:
        if "serial port" in scale.now().why:
            return scale.now().why
        time.sleep(0.02)
    raise AssertionError(scale.now())


class Feed(http.server.BaseHTTPRequestHandler):
    text = ""

    def do_GET(self):
        self.send_response(200)
        self.end_headers()
        self.wfile.write(type(self).text.encode())

    def log_message(self, *_):
        pass


@pytest.fixture
def feed():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Feed)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_local_address_gives_lines_or_json(feed):
    scale = HttpScale(ScaleSettings(name="feed", feed=feed))
    try:
        Feed.text = "ST,GS,+  2.315kg\r\n"
        assert until(scale, "stable").mass_g == 2315
        Feed.text = '{"mass_g": 1800.4, "stable": false}'
        until(scale, "moving")
        Feed.text = '{"mass_g": 1800.4, "stable": true}'
        until(scale, "stable", mass_g=1800)
        Feed.text = "<html>"
        until(scale, "unreadable")
    finally:
        scale.close()


@pytest.mark.parametrize("text", ["{}", '{"mass_g": "2", "stable": true}', '{"mass_g": NaN, "stable": true}', "{", ""])
def test_an_answer_without_a_mass_is_refused(text):
    with pytest.raises(ImpossibleValue):
        read_answer(text, SETTINGS)


def test_a_feed_that_is_no_address_is_refused():
    with pytest.raises(ImpossibleValue, match="http address"):
        HttpScale(ScaleSettings(feed="file:///etc/passwd"))
