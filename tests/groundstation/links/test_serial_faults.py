import errno

import pytest
import serial

from groundstation.links import serial_faults
from groundstation.ports import Port

HERE = [Port("/dev/ttyACM0", "Lark Works, USB 1209:0001", "serial:usb-1209:0001", True)]


def sentence(error, *, platform="linux", group="dialout", ports=HERE, device="/dev/ttyUSB0"):
    return serial_faults.cannot_open(device, error, group=group, ports=ports, platform=platform)


def os_error(number):
    return serial.SerialException(number, f"could not open port: [Errno {number}]")


def test_missing_permission_names_the_group_and_the_remedy_and_never_root_as_the_way_out():
    text = sentence(os_error(errno.EACCES))
    assert text == (
        "no permission to open /dev/ttyUSB0: it belongs to the group dialout. Join it "
        "(sudo usermod -aG dialout YOUR-USER-NAME), then log out and in again"
    )
    assert "as root" not in text
    assert "-aG root" not in sentence(os_error(errno.EACCES), group="root")
    assert "udev rule" in sentence(os_error(errno.EACCES), group="root")
    assert "allow your user" in sentence(os_error(errno.EACCES), group=None)


@pytest.mark.parametrize("number", [errno.EAGAIN, errno.EBUSY])
def test_a_busy_port_is_in_use_by_another_program(number):
    assert sentence(os_error(number)) == "/dev/ttyUSB0 is in use by another program; close that program"


@pytest.mark.parametrize("number", [errno.ENOENT, errno.ENODEV, errno.ENXIO])
def test_an_absent_port_comes_with_those_that_exist(number):
    assert sentence(os_error(number)) == (
        "/dev/ttyUSB0 is not there: is the receiver plugged in? "
        "serial ports here: /dev/ttyACM0 (Lark Works, USB 1209:0001)"
    )


def test_something_else_than_a_port_is_told_apart():
    error = serial.SerialException("Could not configure port: (25, 'Inappropriate ioctl for device')")
    assert sentence(error, ports=[]) == (
        "/dev/ttyUSB0 is not a serial port; there is no serial port on this computer now"
    )


def test_windows_says_that_a_program_or_an_earlier_run_holds_the_port():
    error = serial.SerialException(
        "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"  # as pyserial words it there
    )
    assert sentence(error, platform="win32", device="COM3", group=None) == (
        "COM3 is in use: another program, or a previous run, still holds this port; "
        "close it, or unplug the receiver for a few seconds"
    )


def test_windows_absent_port_comes_with_those_that_exist():
    error = serial.SerialException(
        "could not open port 'COM9': FileNotFoundError(2, 'The system cannot find the file specified.', None, 2)"
    )
    assert sentence(error, platform="win32", device="COM9", group=None).startswith("COM9 is not there")


def test_what_is_not_foreseen_is_passed_on_in_the_systems_words():
    assert sentence(ValueError("baud rate 1 not supported")) == (
        "/dev/ttyUSB0 cannot be opened: baud rate 1 not supported"
    )


def test_a_lost_port_that_is_still_there_may_be_read_by_another_program():
    error = serial.SerialException(
        "device reports readiness to read but returned no data (device disconnected or multiple access on port?)"
    )
    assert "another program may be reading this port too" in serial_faults.lost("COM3", error, still_there=True)
    assert "was unplugged" in serial_faults.lost("COM3", error, still_there=False)
    assert "could not be read (boom)" in serial_faults.lost("COM3", OSError("boom"), still_there=True)
