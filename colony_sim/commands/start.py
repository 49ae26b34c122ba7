"""What ``colony-sim`` runs first, before anything heavy is loaded: Ctrl-C ends it in one line."""

from __future__ import annotations

import _thread
import gc
import signal
import sys
import threading
from typing import Any

from colony_sim.errors import interrupted

_AGAIN_S = 0.02


def run() -> None:
    """Entry point: that of `main`, from its loading to the end of the interpreter."""
    sys.unraisablehook = _unraisable
    try:
        from colony_sim.commands.main import run as loaded

        loaded()
    except (KeyboardInterrupt, Exception) as error:
        if not interrupted(error):
            raise
        print("colony-sim: Stopped.", file=sys.stderr, flush=True)
        sys.exit(130)
    finally:
        # The interpreter looks through all that there is at its end, for up to half a second.
        gc.freeze()
        # What is left is to clean up, which a second Ctrl-C must not break off.
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _unraisable(found: Any) -> None:
    """A Ctrl-C that came where Python drops it, as in a finalizer, comes once more."""
    if found.exc_type is not None and issubclass(found.exc_type, KeyboardInterrupt):
        # Not from here, where it would be dropped as well.
        again = threading.Timer(_AGAIN_S, _thread.interrupt_main)
        again.daemon = True
        again.start()
    else:
        sys.__unraisablehook__(found)
