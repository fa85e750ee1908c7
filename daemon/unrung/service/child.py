"""A short-lived process for the heavy work. It is told the settings and the time; all that comes of
it stands in the store, so that one cut off at any moment is simply done again."""

from __future__ import annotations

import logging
import os
import pickle
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path

from unrung.errors import UnrungError
from unrung.own_pipes import own_pipe
from unrung.service.issuer import issue_and_judge
from unrung.settings import Settings
from unrung.store.open import open_store

LONGEST_SECONDS = 1800.0
"""A run that takes longer hangs, and is ended."""
_log = logging.getLogger("unrung.service")


class Child:
    """Does ``issue_and_judge`` in a process of its own, one at a time; ``stop`` ends it at once."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._stopped = False

    def __call__(self, settings: Settings, now_ms: int) -> None:
        """Raises UnrungError with what the process said last, where it failed."""
        with self._lock:
            if self._stopped:
                return
            process = self._process = _started()
        patience = threading.Timer(LONGEST_SECONDS, process.kill)
        patience.daemon = True
        patience.start()
        try:
            lines = _talk(process, pickle.dumps((settings, now_ms)))
        finally:
            patience.cancel()
            process.kill()
            process.wait()
        for line in lines:
            _log.info(line)
        if process.returncode and not self._stopped:
            last = lines[-1] if lines else f"it ended with {process.returncode}"
            raise UnrungError(f"issuing failed: {last}")

    def stop(self) -> None:
        with self._lock:
            self._stopped = True
            if self._process is not None:
                self._process.kill()


def _started() -> subprocess.Popen[bytes]:
    found_here = os.pathsep.join(path for path in sys.path if path)
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "unrung.service.child"], env={**os.environ, "PYTHONPATH": found_here},
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )


def _talk(process: subprocess.Popen[bytes], task: bytes) -> list[str]:
    """Hand the task over and read until the end. The pipe stays open: it is the child's life line."""
    assert process.stdin and process.stderr
    with suppress(BrokenPipeError):
        process.stdin.write(task)
        process.stdin.flush()
    said = process.stderr.read().decode("utf-8", "replace").splitlines()
    with suppress(BrokenPipeError):
        process.stdin.close()
    process.stderr.close()
    process.wait()
    return said


def main() -> int:
    """The child itself."""
    for name in ("SIGINT", "SIGBREAK", "SIGTERM"):  # for the service, which then ends this process
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    told = own_pipe(0)
    settings, now_ms = pickle.load(open(told, "rb", closefd=False))
    threading.Thread(target=_end_with_the_service, args=(told,), daemon=True).start()
    logging.basicConfig(format="%(message)s", level=logging.INFO, stream=sys.stderr)
    db = open_store(Path(settings.folder) / settings.files.store)
    try:
        issue_and_judge(db, settings, now_ms)
    except UnrungError as error:
        _log.error(error)
        return 1
    finally:
        db.close()
    return 0


def _end_with_the_service(told: int) -> None:
    while os.read(told, 4096):
        pass
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
