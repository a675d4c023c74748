import grp
import os
import time
import tty

import pytest
from serial.tools.list_ports_common import ListPortInfo

from groundstation.clock import SessionClock
from groundstation.links.link import LinkReport
from groundstation.links.serial import SerialLink, SerialSettings
from groundstation.ports import UsbIdentity


class Receiver:
    """A pseudo-terminal under a stable name, which can be pulled out and plugged in again."""

    def __init__(self, path):
        self.path = path
        self.plug_in()

    def plug_in(self):
        self.master, slave = os.openpty()
        tty.setraw(slave)  # or the terminal would echo what it receives before the link opens it
        self.device = os.ttyname(slave)
        self._slave = slave
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(self.device)

    def send(self, data):
        os.write(self.master, data)

    def pull_out(self):
        self.path.unlink()
        os.close(self._slave)
        os.close(self.master)

    def written_to(self):
        os.set_blocking(self.master, False)
        try:
            return os.read(self.master, 1000)
        except BlockingIOError:
            return b""


@pytest.fixture
def receiver(tmp_path):
    receiver = Receiver(tmp_path / "receiver")
    yield receiver
    os.close(receiver.master)
    os.close(receiver._slave)


def link_to(wanted, *, settings=None, listing=list):
    return SerialLink(wanted, SessionClock(), name="serial:test", settings=settings, listing=listing)


def test_bytes_arrive_in_order_with_times_that_never_decrease(running, receiver):
    sent = bytes(k % 251 for k in range(3000))
    with running(link_to(str(receiver.path))) as heard:
        heard.wait(lambda h: h.reports)
        for at in range(0, len(sent), 100):
            receiver.send(sent[at : at + 100])
        heard.wait(lambda h: len(h.data) >= len(sent))
    assert bytes(heard.data) == sent
    assert heard.times == sorted(heard.times)
    assert heard.reports == [LinkReport(True, f"reading {receiver.path} at 57600 baud")]


def test_an_unplugged_receiver_is_told_and_read_again_when_it_is_back(running, receiver):
    with running(link_to(str(receiver.path))) as heard:
        heard.wait(lambda h: h.reports)
        receiver.send(b"before")
        heard.wait(lambda h: h.data == b"before")
        receiver.pull_out()
        heard.wait(lambda h: not h.reports[-1].ok)
        receiver.plug_in()
        heard.wait(lambda h: h.reports[-1].ok)
        receiver.send(b"after")
        heard.wait(lambda h: h.data == b"beforeafter")
    lost = [r.text for r in heard.reports if not r.ok]
    assert lost[0] == f"{receiver.path} was unplugged, or its connection failed; waiting for it to come back"
    assert heard.reports[-1].text.startswith(f"reading {receiver.path} at 57600 baud, again after ")


def test_many_pulls_of_the_plug_never_end_the_reading(running, receiver):
    with running(link_to(str(receiver.path))) as heard:
        for number in range(5):
            heard.wait(lambda h: h.reports and h.reports[-1].ok)
            receiver.send(b"%d" % number)
            heard.wait(lambda h, n=number: len(h.data) == n + 1)
            told = len(heard.reports)
            receiver.pull_out()
            heard.wait(lambda h, n=told: len(h.reports) > n and not h.reports[-1].ok)
            receiver.plug_in()
        heard.wait(lambda h: h.reports[-1].ok)
    assert heard.data == b"01234"


def test_nothing_is_ever_written_to_the_link(running, receiver):
    with running(link_to(str(receiver.path), settings=SerialSettings(115_200, dtr=True, rts=True))) as heard:
        heard.wait(lambda h: h.reports)
        receiver.send(b"telemetry\r\n\x03\x04\x11\x13\x1a" * 20)
        heard.wait(lambda h: len(h.data) == 320)
    assert heard.data == b"telemetry\r\n\x03\x04\x11\x13\x1a" * 20
    assert receiver.written_to() == b""


def test_an_absent_port_is_waited_for(running, tmp_path):
    path = tmp_path / "receiver"
    with running(link_to(str(path))) as heard:
        heard.wait(lambda h: h.reports)
        receiver = Receiver(path)
        heard.wait(lambda h: h.reports[-1].ok)
    assert heard.reports[0] == LinkReport(
        False, f"{path} is not there: is the receiver plugged in? there is no serial port on this computer now"
    )
    os.close(receiver.master)
    os.close(receiver._slave)


def test_a_port_that_another_link_reads_is_busy_until_that_one_ends(running, receiver):
    with running(link_to(str(receiver.path))) as first:
        first.wait(lambda h: h.reports)
        with running(link_to(str(receiver.path))) as second:
            second.wait(lambda h: h.reports)
            assert second.reports[0].text == f"{receiver.path} is in use by another program; close that program"
            assert not second.reports[0].ok


@pytest.mark.parametrize("path", ["/dev/null", "/tmp", __file__])
def test_a_path_that_is_no_port_is_told_so(running, path):
    with running(link_to(path)) as heard:
        heard.wait(lambda h: h.reports)
    assert heard.reports[0].text.startswith(f"{path} is not a serial port")


@pytest.fixture
def ordinary_user():
    """Not root, who may open every port."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    yield
    os.seteuid(before)


def test_a_forbidden_port_is_told_with_its_group(running, receiver, request):
    os.chmod(receiver.device, 0)
    group = grp.getgrgid(os.stat(receiver.device).st_gid).gr_name
    request.getfixturevalue("ordinary_user")
    with running(link_to(receiver.device)) as heard:
        heard.wait(lambda h: h.reports)
    assert not heard.reports[0].ok
    assert f"no permission to open {receiver.device}: it belongs to the group {group}" in heard.reports[0].text


def usb_port(device, *, vid=0x10C4, pid=0xEA60, serial_number="17", location="1-2"):
    info = ListPortInfo(device)
    info.vid, info.pid, info.serial_number, info.location = vid, pid, serial_number, location
    info.product = "USB serial adapter"
    return info


def test_a_receiver_that_comes_back_under_another_name_is_found_by_its_usb_identity(running, tmp_path):
    first = Receiver(tmp_path / "port0")
    listed = [usb_port(str(first.path))]
    with running(link_to(str(first.path), listing=lambda: list(listed))) as heard:
        heard.wait(lambda h: h.reports)
        listed.clear()
        first.pull_out()
        heard.wait(lambda h: not h.reports[-1].ok)
        second = Receiver(tmp_path / "port1")
        listed.append(usb_port(str(second.path), location="1-3"))
        heard.wait(lambda h: h.reports[-1].ok)
        second.send(b"here")
        heard.wait(lambda h: h.data == b"here")
    assert heard.reports[-1].text.startswith(f"reading {second.path} at 57600 baud, again after")
    os.close(second.master)
    os.close(second._slave)


def test_a_stranger_that_took_the_name_is_not_read(running, tmp_path):
    ours = Receiver(tmp_path / "port0")
    listed = [usb_port(str(ours.path))]
    with running(link_to(str(ours.path), listing=lambda: list(listed))) as heard:
        heard.wait(lambda h: h.reports)
        listed.clear()
        ours.pull_out()
        heard.wait(lambda h: not h.reports[-1].ok)
        stranger = Receiver(tmp_path / "port0")
        listed.append(usb_port(str(stranger.path), vid=0x0403, pid=0x6001, serial_number="A1"))
        heard.wait(lambda h: "is now another device" in h.reports[-1].text)
        stranger.send(b"strange")
        time.sleep(0.3)
    assert heard.data == b""
    assert "waiting for USB 10C4:EA60, serial number 17 to come back" in heard.reports[-1].text
    assert "start again with serial:usb-0403:6001:A1" in heard.reports[-1].text
    os.close(stranger.master)
    os.close(stranger._slave)


def test_a_usb_identity_that_fits_two_ports_opens_neither(running, tmp_path):
    listed = [usb_port("/dev/ttyUSB0", serial_number="1"), usb_port("/dev/ttyUSB1", serial_number="2")]
    with running(link_to(UsbIdentity(0x10C4, 0xEA60), listing=lambda: listed)) as heard:
        heard.wait(lambda h: h.reports)
    assert heard.reports == [
        LinkReport(
            False,
            "USB 10C4:EA60 fits several ports, name one of them: serial:/dev/ttyUSB0, serial:/dev/ttyUSB1",
        )
    ]


def test_the_other_adapter_of_the_same_kind_is_not_taken_for_the_lost_one(running, tmp_path):
    ours, other = Receiver(tmp_path / "port0"), Receiver(tmp_path / "port1")
    our_info = usb_port(str(ours.path), serial_number=None, location="1-1")
    listed = [our_info, usb_port(str(other.path), serial_number=None, location="1-2")]
    with running(link_to(str(ours.path), listing=lambda: list(listed))) as heard:
        heard.wait(lambda h: h.reports)
        listed.remove(our_info)
        ours.pull_out()
        heard.wait(lambda h: "is not there" in h.reports[-1].text)
        other.send(b"strange")
        time.sleep(0.3)
    assert heard.data == b""
    os.close(other.master)
    os.close(other._slave)
