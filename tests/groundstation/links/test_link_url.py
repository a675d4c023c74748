import pytest

from groundstation.clock import SessionClock
from groundstation.links.file import FileLink
from groundstation.links.serial import SerialLink, SerialSettings
from groundstation.links.tcp import TcpLink
from groundstation.links.url import FORMS, LinkUrlError, open_link
from groundstation.ports import UsbIdentity


def opened(url):
    return open_link(url, SessionClock())


@pytest.mark.parametrize(
    ("url", "name", "wanted", "settings"),
    [
        ("serial:/dev/ttyUSB0?baud=115200", "serial:/dev/ttyUSB0", "/dev/ttyUSB0", SerialSettings(115_200)),
        ("serial:COM3", "serial:COM3", "COM3", SerialSettings(57_600)),
        ("SERIAL:COM3?dtr=on&rts=on", "serial:COM3", "COM3", SerialSettings(57_600, dtr=True, rts=True)),
        ("serial:usb-10c4:EA60", "serial:usb-10c4:EA60", UsbIdentity(0x10C4, 0xEA60), SerialSettings()),
        ("serial:usb-1A86:7523:A%2F1:b", "serial:usb-1A86:7523:A%2F1:b", UsbIdentity(0x1A86, 0x7523, "A/1:b"),
         SerialSettings()),
    ],
)  # fmt: skip
def test_serial_forms(url, name, wanted, settings):
    link = opened(url)
    assert isinstance(link, SerialLink)
    assert link.name == name
    source = link._source
    assert (source._usb or source._path, source._settings) == (wanted, settings)


def test_dtr_and_rts_are_off_unless_asked_for():
    assert SerialSettings() == SerialSettings(57_600, dtr=False, rts=False)


@pytest.mark.parametrize(
    ("url", "host", "port"),
    [
        ("tcp://127.0.0.1:5555", "127.0.0.1", 5555),
        ("tcp://[::1]:80", "::1", 80),
        ("tcp://Lark.local:9/", "lark.local", 9),
    ],
)
def test_tcp_forms(url, host, port):
    link = opened(url)
    assert isinstance(link, TcpLink)
    assert (link._source._host, link._source._port) == (host, port)


@pytest.mark.parametrize(
    ("url", "path"),
    [("file:capture.bin", "capture.bin"), ("file:/tmp/a?b.bin", "/tmp/a?b.bin"), ("file:///tmp/a.bin", "/tmp/a.bin")],
)
def test_file_forms(url, path):
    link = opened(url)
    assert isinstance(link, FileLink)
    assert str(link._source._path) == path
    assert link.name == f"file:{path}"


@pytest.mark.parametrize(
    ("url", "what"),
    [
        ("/dev/ttyUSB0", "it begins with none of serial:, tcp:// and file:"),
        ("udp://127.0.0.1:5", "it begins with none of"),
        ("", "it begins with none of"),
        ("serial:", "the port is missing"),
        ("serial:?baud=9600", "the port is missing"),
        ("serial:COM3?baud=fast", "baud is 'fast', expected a whole number such as 57600"),
        ("serial:COM3?baud=0", "baud is '0'"),
        ("serial:COM3?dtr=yes", "dtr is 'yes', expected on or off"),
        ("serial:COM3?speed=9600", "'speed' is no setting of a serial port"),
        ("serial:COM3?baud", "is not of the form baud=57600"),
        ("serial:usb-10C4", "four hexadecimal digits each"),
        ("serial:usb-10C4:XYZW", "four hexadecimal digits each"),
        ("tcp://127.0.0.1", "host or port is missing"),
        ("tcp:127.0.0.1:5", "host or port is missing"),
        ("tcp://:5", "host or port is missing"),
        ("tcp://a:99999", "ort out of range"),
        ("tcp://a:5/path", "there is more than host and port"),
        ("file:", "the path is missing"),
    ],
)
def test_a_wrong_url_is_told_with_what_is_wrong_and_every_form_there_is(url, what):
    with pytest.raises(LinkUrlError) as caught:
        opened(url)
    assert what in str(caught.value)
    assert repr(url) in str(caught.value)
    assert all(form in str(caught.value) for form in FORMS)
    assert caught.value.url == url
