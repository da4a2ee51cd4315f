"""Where driveout listens, and that it listens nowhere else."""

from __future__ import annotations

import socket

import pytest

from driveout.app import run
from driveout.errors import BadEntry, StoreTrouble
from driveout.web.listening import LOCAL_HOSTS, Listening, on_lan, own_address, sockets_of


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.mark.parametrize(
    "words",
    [
        ["--address", "192.0.2.1"],
        ["--lan", "--certificate", "x.pem"],
        ["--lan", "--key", "x.pem"],
        ["--lan", "--address", "192.0.2.1.not-a-name.invalid"],
    ],
)
def test_options_that_do_not_fit_are_refused_before_anything_listens(words: list[str]) -> None:
    assert run(["serve", *words]) == 1


def test_without_lan_only_loopback_listens() -> None:
    opened = sockets_of(Listening(port=free_port()))

    assert [one.getsockname()[0] for one in opened] == ["127.0.0.1"]
    # only then does asyncio send each answer at once instead of after the caller's acknowledgement
    assert [one.proto for one in opened] == [socket.IPPROTO_TCP]
    for one in opened:
        one.close()


def test_on_the_network_loopback_and_the_one_address_listen() -> None:
    address = own_address()
    assert address
    where = on_lan("", free_port(), is_encrypted=False)
    opened = sockets_of(where)

    assert {one.getsockname()[0] for one in opened} == {"127.0.0.1", address}
    assert where.on_lan
    assert address in where.hosts
    assert where.hosts >= LOCAL_HOSTS
    assert where.url(where.names[0]) == f"http://{address}:{where.port}/"
    for one in opened:
        one.close()


def test_a_port_in_use_is_said_with_what_to_do() -> None:
    port = free_port()
    first = sockets_of(Listening(port=port))

    with pytest.raises(StoreTrouble, match="--port"):
        sockets_of(Listening(port=port))
    for one in first:
        one.close()


def test_an_address_that_is_no_address_is_refused() -> None:
    with pytest.raises(BadEntry, match="no address of this machine"):
        on_lan("no-such-host.invalid", 8321, is_encrypted=False)


def test_an_encrypted_address_says_so() -> None:
    assert Listening((), ("garage",), 1, True).url("garage") == "https://garage:1/"
    # RFC 3986, 3.2.2: an IPv6 address stands in brackets.
    assert Listening((), (), 1).url("fd00::1") == "http://[fd00::1]:1/"
