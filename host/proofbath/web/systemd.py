"""What the service manager is told: that the service is up, alive, or stopping."""

from __future__ import annotations

import asyncio
import os
import socket


def notify(text: str) -> None:
    """Tell the service manager; nothing happens where there is none (sd_notify(3))."""
    if place := os.environ.get("NOTIFY_SOCKET"):
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.connect("\0" + place[1:] if place.startswith("@") else place)
            sender.sendall(text.encode())


def watchdog_s() -> float | None:
    """Return within which time a sign of life is expected (sd_watchdog_enabled(3))."""
    mine = os.environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
    given = os.environ.get("WATCHDOG_USEC", "")
    return int(given) / 1e6 if mine and given.isdecimal() and int(given) else None


async def watchdog() -> None:
    """Give a sign of life twice within the time, as long as this process serves requests."""
    within_s = watchdog_s()
    while within_s:
        notify("WATCHDOG=1")
        await asyncio.sleep(within_s / 2)
