from serial.tools.list_ports_common import ListPortInfo

from groundstation.links.url import open_link
from groundstation.ports import UsbIdentity, candidate_ports, matching, prefer_callout


def info(device, vid=None, pid=None, serial_number=None, location=None, manufacturer=None, product=None):
    port = ListPortInfo(device)
    port.vid, port.pid, port.serial_number, port.location = vid, pid, serial_number, location
    port.manufacturer, port.product = manufacturer, product
    return port


def test_usb_ports_come_first_with_a_url_that_names_the_device_and_not_its_place():
    ports = candidate_ports(
        lambda: [
            info("/dev/ttyS0"),
            info("/dev/ttyUSB0", 0x1209, 0x0001, "L 1/7", "1-2", "Lark Works", "Telemetry bridge"),
        ]
    )
    assert [(p.device, p.text, p.url, p.likely) for p in ports] == [
        (
            "/dev/ttyUSB0",
            "Lark Works, Telemetry bridge, USB 1209:0001, serial number L 1/7",
            "serial:usb-1209:0001:L%201%2F7",
            True,
        ),
        ("/dev/ttyS0", "not a USB device", "serial:/dev/ttyS0", False),
    ]


def test_the_url_of_a_port_opens_that_device():
    (port,) = candidate_ports(lambda: [info("COM4", 0x1209, 0x0001, "L:1/7?#%", "1-2")])
    assert open_link(port.url, None)._source._usb == UsbIdentity(0x1209, 0x0001, "L:1/7?#%")


def test_without_a_serial_number_vendor_and_product_name_the_only_one_of_its_kind():
    (port,) = candidate_ports(lambda: [info("COM4", 0x1A86, 0x7523)])
    assert port.url == "serial:usb-1A86:7523"


def test_two_alike_are_named_by_their_device():
    twins = [info("COM4", 0x10C4, 0xEA60, "0001", "1-1"), info("COM5", 0x10C4, 0xEA60, "0001", "1-2")]
    assert [p.url for p in candidate_ports(lambda: twins)] == ["serial:COM4", "serial:COM5"]


def test_pseudo_terminals_and_incoming_bluetooth_are_not_listed():
    listed = [info("/dev/pts/3"), info("/dev/cu.Bluetooth-Incoming-Port"), info("/dev/cu.usbserial-1", 1, 2)]
    assert [p.device for p in candidate_ports(lambda: listed)] == ["/dev/cu.usbserial-1"]


def test_a_scan_that_crashes_is_tried_again_and_never_raises():
    tries = []

    def crashing_twice():
        tries.append(1)
        if len(tries) < 3:
            raise TypeError("'NoneType' object is not subscriptable")
        return [info("COM4", 1, 2)]

    def always_crashing():
        raise OSError(5, "gone")

    assert [p.device for p in candidate_ports(crashing_twice)] == ["COM4"]
    assert candidate_ports(always_crashing) == []


def test_a_port_of_which_the_system_says_nothing_is_listed():
    bare = info("COM1")
    bare.description = bare.hwid = None
    (port,) = candidate_ports(lambda: [bare])
    assert (port.text, port.url, port.likely) == ("not a USB device", "serial:COM1", False)


def test_macos_callout_name_is_preferred_where_there_is_one():
    there = {"/dev/cu.usbserial-1"}.__contains__
    assert prefer_callout("/dev/tty.usbserial-1", platform="darwin", exists=there) == "/dev/cu.usbserial-1"
    assert prefer_callout("/dev/tty.other", platform="darwin", exists=there) == "/dev/tty.other"
    assert prefer_callout("/dev/tty.usbserial-1", platform="linux", exists=there) == "/dev/tty.usbserial-1"


def test_a_device_is_matched_by_serial_number_and_among_clones_by_its_socket():
    ports = candidate_ports(
        lambda: [
            info("A", 1, 2, "7", "1-1"),
            info("B", 1, 2, "7", "1-2"),
            info("C", 1, 2, "8", "1-3"),
            info("D", 1, 3, "7", "1-4"),
            info("E"),
        ]
    )
    assert [p.device for p in matching(UsbIdentity(1, 2, "8", "9-9"), ports)] == ["C"]
    assert [p.device for p in matching(UsbIdentity(1, 2, "7", "1-2"), ports)] == ["B"]
    assert [p.device for p in matching(UsbIdentity(1, 2, "7", "9-9"), ports)] == ["A", "B"]
    assert [p.device for p in matching(UsbIdentity(1, 2), ports)] == ["A", "B", "C"]
    assert matching(UsbIdentity(5, 5), ports) == []
