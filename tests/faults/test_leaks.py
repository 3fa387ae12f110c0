"""Nothing grows while the service runs: open files, threads and memory after an hour's worth of reconnects and orders.

The memory is judged on the second half alone, when all that is loaded once has been loaded.
"""

import socket
import threading
from contextlib import suppress
from pathlib import Path

import psutil

from tests.service.service_run import service

LOGGER = '[source]\nurl = "socket://127.0.0.1:{port}"\n'
ROUNDS = 12  # times the logger goes away and comes back
LINES = 3000  # a round, some five minutes of a logger at 10 Hz
GROWTH_MIB = 8.0  # our choice: a leak of one arrival's rows a round would be ten times this


def talk(port: socket.socket, stop: threading.Event, said: list[int]) -> None:
    """Be a logger that hangs up after each round."""
    begin = 1_800_000_000
    while not stop.is_set():
        with suppress(OSError):
            logger, _ = port.accept()
            with logger:
                lines = [f"{begin + said[0] + k / 10:.1f},12.{k % 100:02},-0.02\n" for k in range(LINES)]
                logger.sendall(("time,volts,amps\n" + "".join(lines)).encode())
                said[0] += LINES // 10 + 60
                said[1] += LINES
                stop.wait(0.3)


def test_handles_threads_and_memory_do_not_grow(tmp_path: Path) -> None:
    said, stop = [0, 0], threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as port:
        port.settimeout(0.2)
        (tmp_path / "van.toml").write_text('name = "van"\n' + LOGGER.format(port=port.getsockname()[1]))
        logger = threading.Thread(target=talk, args=(port, stop, said))
        logger.start()
        try:
            with service(tmp_path) as running:
                watched = psutil.Process(running.process.pid)
                seen = []
                for round_ in range(1, ROUNDS + 1):
                    most = LINES * round_
                    running.has(f"{most} samples", lambda health, most=most: health.samples >= most)
                    running.ask("hush", "--off")
                    size = watched.memory_info().rss / 2**20
                    seen.append((watched.num_fds(), watched.num_threads(), size))
                running.end()
        finally:
            stop.set()
            logger.join()
    half = seen[ROUNDS // 2 :]
    assert max(fds for fds, _, _ in half) <= max(fds for fds, _, _ in seen[:3]) + 2  # a socket, a file being written
    assert max(threads for _, threads, _ in half) <= max(threads for _, threads, _ in seen[:3]) + 1  # the jobs' worker
    assert half[-1][2] - half[0][2] < GROWTH_MIB, [round(size, 1) for _, _, size in seen]
    assert list((tmp_path / "data" / "van" / "inbox").iterdir()) == []
