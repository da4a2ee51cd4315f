"""Which addresses driveout listens on, and by which names it may be asked for."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from ipaddress import ip_address

from driveout.errors import BadEntry, StoreTrouble

LOCAL_HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass(frozen=True)
class Listening:
    """Where the pages can be reached.

    Parameters
    ----------
    addresses
        Addresses to bind besides loopback; empty on this machine only.
    names
        Host names and addresses that other machines may ask for, the best one first.
    port
        Port.
    is_encrypted
        Whether a certificate is used.
    """

    addresses: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    port: int = 8321
    is_encrypted: bool = False

    @property
    def on_lan(self) -> bool:
        """Whether other machines can reach it."""
        return bool(self.addresses)

    @property
    def hosts(self) -> frozenset[str]:
        """Every name that a request may ask for."""
        return LOCAL_HOSTS | {name.lower() for name in self.names}

    def url(self, name: str = "localhost") -> str:
        """Address to open by one of the names."""
        shown = f"[{name}]" if ":" in name else name
        return f"{'https' if self.is_encrypted else 'http'}://{shown}:{self.port}/"


def own_address() -> str | None:
    """Address of this machine on the network it would use, without sending anything; None with no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # A datagram socket only looks up the way; 192.0.2.1 is kept for documentation (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            found = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if ip_address(found).is_loopback or ip_address(found).is_unspecified else found


def on_lan(address: str, port: int, is_encrypted: bool) -> Listening:
    """Listening on the network: at one address (or a name of it), or at the one that the network uses.

    Parameters
    ----------
    address
        Address or host name of this machine; empty to find it.
    port
        Port.
    is_encrypted
        Whether a certificate is used.

    Returns
    -------
    Listening
        What to bind and which names to answer to.

    Raises
    ------
    BadEntry
        If the address is none of this machine, or no network is there.
    """
    named = address.strip().lower()
    bound = named or own_address()
    if not bound:
        raise BadEntry(
            "This machine has no address on a network. Join the network first, or give --address.",
            field="address",
        )
    try:
        numbers = {str(found[4][0]) for found in socket.getaddrinfo(bound, port, type=socket.SOCK_STREAM)}
    except OSError as error:
        raise BadEntry(
            f"{bound!r} is no address of this machine: {error.strerror}.", field="address", value=bound
        ) from error
    everywhere = any(ip_address(one.partition("%")[0]).is_unspecified for one in numbers)
    own = own_address()
    reachable = {own} - {None} if everywhere else numbers
    host = socket.gethostname().lower()
    names = [named if named and not everywhere else "", *sorted(str(one) for one in reachable)]
    names += [host, f"{host}.local"] if "." not in host else [host]
    kept = tuple(dict.fromkeys(name for name in names if name and name not in LOCAL_HOSTS))
    return Listening(tuple(sorted(numbers)), kept, port, is_encrypted)


def sockets_of(where: Listening) -> list[socket.socket]:
    """Open the listening sockets: loopback always, the network's addresses when wanted."""
    everywhere = any(ip_address(one.partition("%")[0]).is_unspecified for one in where.addresses)
    addresses = where.addresses if everywhere else ("127.0.0.1", *where.addresses)
    opened: list[socket.socket] = []
    for address in dict.fromkeys(addresses):
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        # With the protocol named, answers are sent at once: asyncio sets TCP_NODELAY only on such sockets,
        # and without it the body of a small page waits 40 ms for the caller's delayed acknowledgement.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((address, where.port))
        except OSError as error:
            for one in (*opened, listener):
                one.close()
            raise StoreTrouble(
                f"Port {where.port} of {address} cannot be used: {error.strerror}. "
                "Is driveout running already? Another port: --port 8322."
            ) from error
        listener.listen(128)
        opened.append(listener)
    return opened
