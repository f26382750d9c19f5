"""``python -m lobework`` works like ``lobework``."""

import sys

from lobework.cli import main

if __name__ == "__main__":
    sys.exit(main())
