"""A line over TCP."""

import asyncio

import pytest
from rig import run

from config.stations import TcpSource
from logger.clock import SystemClock
from logger.sources.source import SourceLost
from logger.sources.tcp import TcpLine


def test_a_tcp_line_until_the_other_side_closes():
    got = []

    async def main():
        async def serve(reader, writer):
            writer.write(b"1.5\r\n")
            await writer.drain()
            writer.close()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        line = TcpLine(
            TcpSource(type="tcp", host="127.0.0.1", port=port), lambda data, at: got.append((data, at)), SystemClock()
        )
        with pytest.raises(SourceLost, match="closed"):
            await line.run(lambda: None)
        server.close()
        await server.wait_closed()
        with pytest.raises(SourceLost):
            await line.run(lambda: None)
        assert line.name == f"127.0.0.1:{port}"

    run(main())
    assert b"".join(d for d, _ in got) == b"1.5\r\n"
