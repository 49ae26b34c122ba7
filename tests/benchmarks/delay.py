"""A network that takes its time, on one machine: bytes are handed on some milliseconds later.

``python -m tests.benchmarks.delay MS PORT:TARGET ...`` listens on each PORT and connects to its
TARGET port; what comes in on either side goes out on the other after the delay, in order and at
full rate, as on a long line.
"""

from __future__ import annotations

import asyncio
import sys
from contextlib import closing, suppress

HOST = "127.0.0.1"
_CHUNK = 1 << 16


async def _pump(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, delay: float) -> None:
    """Hand on all that comes in, each chunk when it is due, and then the end."""
    loop = asyncio.get_running_loop()
    due: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()

    async def write() -> None:
        while True:
            at, data = await due.get()
            await asyncio.sleep(at - loop.time())
            if not data:
                writer.write_eof()
                return
            writer.write(data)
            await writer.drain()

    writing = asyncio.create_task(write())
    with suppress(ConnectionError):
        while data := await reader.read(_CHUNK):
            due.put_nowait((loop.time() + delay, data))
    due.put_nowait((loop.time() + delay, b""))
    with suppress(OSError):
        await writing


async def _forward(port: int, target: int, delay: float) -> None:
    async def accept(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with closing(writer), suppress(OSError):
            far_reader, far_writer = await asyncio.open_connection(HOST, target)
            with closing(far_writer):
                there = _pump(reader, far_writer, delay)
                await asyncio.gather(there, _pump(far_reader, writer, delay))

    await (await asyncio.start_server(accept, HOST, port)).serve_forever()


async def main(delay: float, pairs: list[tuple[int, int]]) -> None:
    """Forward until killed; delay in seconds, ports with their targets."""
    await asyncio.gather(*(_forward(port, target, delay) for port, target in pairs))


if __name__ == "__main__":
    asyncio.run(
        main(float(sys.argv[1]) / 1e3, [tuple(map(int, p.split(":"))) for p in sys.argv[2:]])
    )
