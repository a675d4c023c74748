import socket
import struct
from contextlib import closing

from groundstation.clock import SessionClock
from groundstation.links.link import LinkReport
from groundstation.links.tcp import TcpLink


def server(port=0):
    listening = socket.create_server(("127.0.0.1", port))
    listening.settimeout(10.0)
    return listening


def link_to(listening):
    host, port = listening.getsockname()
    return TcpLink(host, port, SessionClock(), name=f"tcp://{host}:{port}")


def test_bytes_arrive_in_order(running):
    with closing(server()) as listening, running(link_to(listening)) as heard:
        accepted, _ = listening.accept()
        with closing(accepted):
            sent = bytes(k % 256 for k in range(200_000))
            accepted.sendall(sent)
            heard.wait(lambda h: len(h.data) == len(sent))
    assert heard.data == sent
    assert heard.times == sorted(heard.times)


def test_a_closed_connection_is_told_and_made_again(running):
    with closing(server()) as listening, running(link_to(listening)) as heard:
        accepted, _ = listening.accept()
        accepted.sendall(b"one")
        heard.wait(lambda h: h.data == b"one")
        accepted.close()
        accepted, _ = listening.accept()
        with closing(accepted):
            accepted.sendall(b"two")
            heard.wait(lambda h: h.data == b"onetwo")
        where = f"127.0.0.1:{listening.getsockname()[1]}"
        assert heard.reports[:2] == [
            LinkReport(True, f"connected to {where}"),
            LinkReport(False, f"{where} closed the connection; trying again"),
        ]
        assert heard.reports[2].ok
        assert heard.reports[2].text.startswith(f"connected to {where}, again after ")


def test_a_reset_connection_is_made_again(running):
    with closing(server()) as listening, running(link_to(listening)) as heard:
        accepted, _ = listening.accept()
        heard.wait(lambda h: h.reports)
        accepted.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        accepted.close()
        accepted, _ = listening.accept()
        with closing(accepted):
            accepted.sendall(b"back")
            heard.wait(lambda h: h.data == b"back")
    assert any(not r.ok and "broke" in r.text for r in heard.reports)


def test_a_server_that_starts_late_is_waited_for(running):
    with closing(server()) as listening:
        port = listening.getsockname()[1]
    with running(TcpLink("127.0.0.1", port, SessionClock(), name="tcp")) as heard:
        heard.wait(lambda h: h.reports)
        assert heard.reports == [
            LinkReport(False, f"nothing listens at 127.0.0.1:{port}: is the program there running? Trying again")
        ]
        with closing(server(port)) as listening:
            accepted, _ = listening.accept()
            with closing(accepted):
                accepted.sendall(b"late")
                heard.wait(lambda h: h.data == b"late")


def test_an_unknown_name_is_told(running):
    with running(TcpLink("no-such-computer.invalid", 5000, SessionClock(), name="tcp")) as heard:
        heard.wait(lambda h: h.reports)
    assert heard.reports[0].text.startswith("no computer is known by the name no-such-computer.invalid")


def test_nothing_is_ever_sent(running):
    with closing(server()) as listening:
        with running(link_to(listening)) as heard:
            accepted, _ = listening.accept()
            accepted.sendall(b"telemetry")
            heard.wait(lambda h: h.data == b"telemetry")
        with closing(accepted):
            accepted.settimeout(10.0)
            assert accepted.recv(1000) == b""  # all that came before the end of the connection
