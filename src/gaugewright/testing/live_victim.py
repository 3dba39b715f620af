"""The live watch with the plainest detector, as a process of its own to be killed.

``python -m gaugewright.testing.live_victim TABLES OUT`` takes records at a free port of this
computer, looks every tenth of a second, and says on standard error where it listens.
"""

import sys
from pathlib import Path

from gaugewright.app import watch_live
from gaugewright.app.watch_task import Look
from gaugewright.cli.watch_live import Doors
from gaugewright.cli.watch_live import watch_live as run
from gaugewright.testing.plain_watch import steps


def main() -> None:
    """Run until killed."""
    tables, out = sys.argv[1:]
    settings = watch_live.LiveSettings(round_s=0.1)
    run(Doors(http="127.0.0.1:0"), tables, Path(out), Look(steps), settings)


if __name__ == "__main__":
    main()
