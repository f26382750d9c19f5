"""The entry point of ``python -m lobework``, which is the same as the command ``lobework``."""

import sys

from lobework.cli import main

if __name__ == "__main__":
    sys.exit(main())
