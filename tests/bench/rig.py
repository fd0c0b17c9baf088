"""What tests and benchmarks of the logger plug in: a real mosquitto, a serial line that can be dropped, publishers."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Coroutine, Iterator
from pathlib import Path

MOSQUITTO = shutil.which("mosquitto") or next(
    (p for p in ("/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto") if Path(p).exists()), None
)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def wait_until(done, seconds: float, what: str) -> float:
    began = time.monotonic()
    while not done():
        if time.monotonic() - began > seconds:
            raise TimeoutError(f"{what}: not within {seconds} s")
        time.sleep(0.01)
    return time.monotonic() - began


def listens(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def run(main):
    """Run a coroutine on the selector loop; a task left running is a failure."""

    async def watched():
        result = await main
        left = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        assert not left, f"tasks left running: {[task.get_name() for task in left]}"
        return result

    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(watched())


class Mosquitto:
    """Debian's mosquitto on a loopback port, with the settings of docs/mosquitto.md; ours to kill and restart."""

    def __init__(self, folder: Path, extra: str = "", port: int | None = None) -> None:
        self.folder = folder
        self.port = port or free_port()
        folder.mkdir(parents=True, exist_ok=True)
        auth = "" if "allow_anonymous" in extra else "allow_anonymous true\n"
        self._config = folder / "mosquitto.conf"
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\n{auth}"
            f"user root\npersistence true\npersistence_location {folder}/\n"
            "autosave_on_changes false\nautosave_interval 2\n"
            "max_inflight_messages 0\nmax_queued_messages 0\nmax_queued_bytes 0\n"
            "persistent_client_expiration 7d\nset_tcp_nodelay true\nlog_type error\n" + extra,
            encoding="utf-8",
        )
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        assert MOSQUITTO
        # The listener is the only one asked; it takes connections as soon as it is there.
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        wait_until(lambda: listens(self.port), 10, "mosquitto")

    def stop(self, how: int = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(10)
            self._process = None

    def signal(self, number: int) -> None:
        assert self._process
        self._process.send_signal(number)

    def __enter__(self) -> Mosquitto:
        self.start()
        return self

    def __exit__(self, *what: object) -> None:
        self.stop()


class Relay:
    """A network between two ends on loopback that can go dead without a word, as where a cable or access point fails.

    What is connected at ``freeze`` is dead for good: neither end hears of the other any more, not even that it closes.
    What connects after ``hold`` is taken and stays unanswered until ``release``, as by a broker that hangs.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self._free = asyncio.Event()
        self._free.set()
        self._near: set[asyncio.StreamWriter] = set()
        self._dead: set[asyncio.StreamWriter] = set()
        self._far: list[asyncio.StreamWriter] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self.port = 0
        self.taken = 0
        """Connections ever taken."""
        self.carried = 0
        """Bytes handed on to the far end."""

    @property
    def open(self) -> int:
        """Connections whose near end is there."""
        return len(self._near)

    async def __aenter__(self) -> Relay:
        self._server = await asyncio.start_server(self._take, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *what: object) -> None:
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for writer in (*self._near, *self._far):
            writer.transport.abort()
        await self._server.wait_closed()
        await asyncio.sleep(0.01)  # transports close in the next turn of the loop

    def freeze(self) -> None:
        self._dead |= self._near

    def hold(self) -> None:
        self._free.clear()

    def release(self) -> None:
        self._free.set()

    def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.taken += 1
        self._near.add(writer)
        self._go(self._forth(reader, writer))

    def _go(self, work: Coroutine[object, object, None]) -> None:
        task = asyncio.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _forth(self, reader: asyncio.StreamReader, near: asyncio.StreamWriter) -> None:
        await self._free.wait()
        back, far = await asyncio.open_connection("127.0.0.1", self._to)
        self._far.append(far)
        self._go(self._back(back, near))
        with contextlib.suppress(OSError):
            while data := await reader.read(65_536):
                if near not in self._dead:
                    far.write(data)
                    self.carried += len(data)
        self._near.discard(near)
        near.transport.abort()
        if near not in self._dead:
            far.transport.abort()

    async def _back(self, reader: asyncio.StreamReader, near: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(65_536):
                if near not in self._dead:
                    near.write(data)
        if near not in self._dead:
            near.transport.abort()


class DroppableLine:
    """A pty behind a name that stays the same: what is plugged in there can be pulled out and put back."""

    def __init__(self, folder: Path, name: str = "ttyLINE") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / name
        self._master = -1
        self._slave = -1
        self._lock = threading.Lock()
        self.plug()

    def plug(self) -> None:
        import pty
        import tty

        with self._lock:
            self._master, self._slave = pty.openpty()
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            self.path.unlink(missing_ok=True)
            self.path.symlink_to(os.ttyname(self._slave))

    def unplug(self) -> None:
        with self._lock:
            self.path.unlink(missing_ok=True)
            os.close(self._slave)
            os.close(self._master)
            self._master = -1

    def write(self, data: bytes) -> bool:
        """Put bytes on the line as a device does: nobody listening, they are gone."""
        with self._lock:
            if self._master < 0:
                return False
            with contextlib.suppress(BlockingIOError):
                return os.write(self._master, data) == len(data)
            return False

    def close(self) -> None:
        if self._master >= 0:
            self.unplug()


class Publisher:
    """Publishes numbered messages at QoS 1 from a thread of its own, through outages, losing none."""

    def __init__(self, port: int, topic: str, rate_hz: float, form: str = '{{"t": {t:.6f}, "roll": {n}}}') -> None:
        import paho.mqtt.client as paho
        from paho.mqtt.enums import CallbackAPIVersion

        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"dev-{topic}-{port}", clean_session=False)
        self._client.max_queued_messages_set(0)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect_async("127.0.0.1", port, keepalive=5)
        self._topic, self._rate, self._form = topic, rate_hz, form
        self._stop = threading.Event()
        self.taken = 0
        """Messages the broker has acknowledged."""
        self._client.on_publish = self._count
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.sent = 0

    def start(self) -> None:
        self._client.loop_start()
        self._thread.start()

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set():
            payload = self._form.format(t=time.time(), n=self.sent)
            # While the broker is away paho keeps the message and sends it once it is back.
            self._client.publish(self._topic, payload, qos=1)
            self.sent += 1
            due += 1 / self._rate
            self._stop.wait(max(0.0, due - time.monotonic()))

    def finish(self, seconds: float = 20.0) -> int:
        """Stop and wait until the broker has taken every message; how many it has taken."""
        self._stop.set()
        self._thread.join()
        with contextlib.suppress(TimeoutError):
            wait_until(lambda: self.taken >= self.sent, seconds, "publishing")
        self._client.disconnect()
        self._client.loop_stop()
        return self.taken

    def _count(self, *_: object) -> None:
        self.taken += 1


@contextlib.contextmanager
def mosquitto(folder: Path, extra: str = "") -> Iterator[Mosquitto]:
    broker = Mosquitto(folder, extra)
    with broker:
        yield broker


def foreign_certificate(folder: Path, onto: Path) -> None:
    """Sign the client's request by the other authority, whom no broker of ours trusts."""
    signed = ("-in", "client.csr", "-CA", "other.crt", "-CAkey", "other.key", "-CAcreateserial", "-days", "2")
    subprocess.run(["openssl", "x509", "-req", *signed, "-out", str(onto)], cwd=folder, check=True, capture_output=True)


def certificates(folder: Path) -> Path:
    """Make an authority, a server certificate for 127.0.0.1 and localhost, a client certificate; by openssl."""
    folder.mkdir(parents=True, exist_ok=True)

    def openssl(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)

    def request(name: str, common: str) -> None:
        openssl(
            "req",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-subj",
            f"/CN={common}",
            "-keyout",
            f"{name}.key",
            "-out",
            f"{name}.csr",
        )

    for authority in ("ca", "other"):
        openssl(
            *(
                "req",
                "-x509",
                "-newkey",
                "rsa:2048",
                "-nodes",
                "-days",
                "2",
                "-subj",
                f"/CN=test authority {authority}",
            ),
            *(
                "-addext",
                "keyUsage=critical,keyCertSign,cRLSign",
                "-keyout",
                f"{authority}.key",
                "-out",
                f"{authority}.crt",
            ),
        )
    extension = folder / "server.ext"
    extension.write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\n", encoding="utf-8")
    for name, common, more in (("server", "localhost", ["-extfile", "server.ext"]), ("client", "logger", [])):
        request(name, common)
        openssl(
            *(
                "x509",
                "-req",
                "-in",
                f"{name}.csr",
                "-CA",
                "ca.crt",
                "-CAkey",
                "ca.key",
                "-CAcreateserial",
                "-days",
                "2",
            ),
            *("-out", f"{name}.crt", *more),
        )
    for key in folder.glob("*.key"):
        # mosquitto gives its rights up before it reads them.
        key.chmod(0o644)
    return folder
