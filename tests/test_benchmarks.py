"""What the benchmarks of peers and of scale rest on."""

from __future__ import annotations

import asyncio
import contextlib
import time

import numpy as np

from tests.benchmarks import delay
from tests.benchmarks.colonies import here, part, plain_mesa
from tests.benchmarks.peers_report import equality, holm
from tests.benchmarks.scale import _ports

SEEDS = 12


def test_the_simple_colony_is_the_same_model_in_mesa_and_here_and_another_is_found_out(tmp_path):
    # False alarms: 0.1 % over all; seeds are fixed.
    path = tmp_path / "state.npz"
    here.settled(400, str(path))

    def ends(module, first, **more):
        seeds = range(first, first + SEEDS)
        job = {"state": path, "rules": {**here.rules(400), **more}, "seeds": seeds, "days": 40}
        return part.ends(module, job)

    ours = ends(here, 1)
    assert min(holm(equality(ours, ends(plain_mesa, 101)))) > 0.001
    assert min(holm(equality(ours, ends(here, 201, eaten_times=1.5)))) < 0.001
    counts = np.array(ours)
    with np.load(path) as state:
        begin = state["stage"].size
    assert (counts[:, :4].sum(1) == begin + counts[:, 4] - counts[:, 5]).all()


def test_the_delay_hands_on_every_byte_later_and_in_order():
    sent = np.random.default_rng(1).bytes(300_000)
    near, far = _ports(2)

    async def echo(reader, writer):
        while data := await reader.read(1 << 16):
            writer.write(data)
        writer.close()

    async def there_and_back() -> tuple[bytes, float]:
        server = await asyncio.start_server(echo, delay.HOST, far)
        line = asyncio.create_task(delay.main(0.05, [(near, far)]))
        await asyncio.sleep(0.1)
        reader, writer = await asyncio.open_connection(delay.HOST, near)
        begin = time.monotonic()
        writer.write(sent)
        writer.write_eof()
        got = await reader.readexactly(len(sent))
        took = time.monotonic() - begin
        writer.close()
        line.cancel()
        server.close()
        with contextlib.suppress(asyncio.CancelledError):
            await line
        return got, took

    got, took = asyncio.run(there_and_back())
    assert got == sent and took >= 0.1
