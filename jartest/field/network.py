"""The shop's address on its own network, and its QR code."""

from __future__ import annotations

import io
import socket
from ipaddress import ip_address

import segno

from jartest.errors import BadEntry

__all__ = ["base_url", "known_names", "lan_address", "qr_lines", "qr_svg"]

# A documentation address (RFC 5737): choosing a route to it sends nothing.
_NOWHERE = ("192.0.2.1", 9)


def lan_address() -> str:
    """This machine's address on the network that leads out of it; nothing is sent to find it.

    Raises
    ------
    BadEntry
        If it is on no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        try:
            s.connect(_NOWHERE)
            found = str(s.getsockname()[0])
        except OSError:
            found = ""
    if not found or ip_address(found).is_loopback or ip_address(found).is_unspecified:
        msg = "No network address of this machine was found; give the one that phones reach it by with --address."
        raise BadEntry(msg)
    return found


def known_names(address: str) -> tuple[str, ...]:
    """The names and addresses by which people on the network may call this machine."""
    host = socket.gethostname().lower()
    short = host.partition(".")[0]
    return tuple(dict.fromkeys((address.lower(), host, short, f"{short}.local")))


def base_url(address: str, port: int, *, tls: bool) -> str:
    """The address that phones open, without a path."""
    shown = f"[{address}]" if ":" in address else address
    return f"{'https' if tls else 'http'}://{shown}:{port}"


def qr_svg(text: str) -> bytes:
    """A QR code (ISO/IEC 18004) of this text as SVG, dark on white with its quiet zone."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", scale=6, border=4, light="white")
    return out.getvalue()


def qr_lines(text: str) -> str:
    """A QR code of this text as lines for a terminal."""
    out = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(out=out, compact=True)
    return out.getvalue()
