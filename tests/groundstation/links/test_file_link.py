from groundstation.clock import SessionClock
from groundstation.links.file import FileLink
from groundstation.links.link import LinkReport


def test_a_file_is_read_to_its_end_and_then_followed(running, tmp_path):
    path = tmp_path / "capture.bin"
    path.write_bytes(bytes(range(256)) * 1000)
    with running(FileLink(path, SessionClock(), name="file")) as heard, path.open("ab", buffering=0) as growing:
        heard.wait(lambda h: len(h.reports) == 2)
        growing.write(b"more")
        heard.wait(lambda h: h.data.endswith(b"more"))
        growing.write(b"and more")
        heard.wait(lambda h: h.data.endswith(b"and more"))
    assert heard.data == path.read_bytes()
    assert heard.reports == [
        LinkReport(True, f"reading the file {path}"),
        LinkReport(True, f"reached the end of {path} after 256000 bytes; waiting for more"),
    ]


def test_a_missing_file_is_waited_for(running, tmp_path):
    path = tmp_path / "capture.bin"
    with running(FileLink(path, SessionClock(), name="file")) as heard:
        heard.wait(lambda h: h.reports)
        assert heard.reports == [LinkReport(False, f"there is no file {path}; waiting for it")]
        path.write_bytes(b"here")
        heard.wait(lambda h: h.data == b"here")


def test_a_file_that_was_begun_anew_is_read_from_its_start(running, tmp_path):
    path = tmp_path / "capture.bin"
    path.write_bytes(b"a long first capture")
    with running(FileLink(path, SessionClock(), name="file")) as heard:
        heard.wait(lambda h: h.data == b"a long first capture")
        path.write_bytes(b"second")
        heard.wait(lambda h: h.data.endswith(b"second"))
    assert heard.data == b"a long first capturesecond"
    assert LinkReport(False, f"the file {path} has become shorter; reading it from its start") in heard.reports


def test_a_folder_and_a_device_are_no_files(running, tmp_path):
    for path in (tmp_path, "/dev/null"):
        with running(FileLink(path, SessionClock(), name="file")) as heard:
            heard.wait(lambda h: h.reports)
        assert f"{path} is not an ordinary file" in heard.reports[0].text
