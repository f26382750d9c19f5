"""Runs a program through the independent interpreter's own Python module and prints its moves with every digit.

Run as ``python interpreter_client.py PROGRAM`` where the module ``gcode`` can be found; prints one JSON list a line:
["rapid" or "feed", rate, X, Y, Z, A, B, C], ["stop"] or ["message", text]. Lengths and rates are in inches, whatever
the program's units; angles in degrees.
"""

from __future__ import annotations

import json
import sys


class Canon:
    """Takes what the interpreter commands."""

    def __init__(self):
        self.rate = 0.0
        self.parameter_file = ""
        self.place = (0.0,) * 6

    def _tell(self, *what):
        print(json.dumps(what))

    def _move(self, kind, place):
        self.place = place[:6]
        self._tell(kind, self.rate, *self.place)

    def straight_traverse(self, *place):
        self._move("rapid", place)

    def straight_feed(self, *place):
        self._move("feed", place)

    def set_feed_rate(self, rate):
        self.rate = rate

    def message(self, text):
        self._tell("message", text)

    def next_line(self, state):
        self.state = state

    def get_external_length_units(self):
        return 1.0

    def get_external_angular_units(self):
        return 1.0

    def get_axis_mask(self):
        return 0b111111

    def get_block_delete(self):
        return False

    def get_tool(self, pocket):
        return (-1, *(0.0,) * 9, 0.0, 0.0, 0.0, 0)

    def check_abort(self):
        return False

    def __getattr__(self, name):
        if name.startswith("__"):
            raise AttributeError(name)
        return lambda *given: 0


def main():
    import gcode

    result, line = gcode.parse(sys.argv[1], Canon(), "G21 G90", "")
    if result > gcode.MIN_ERROR:
        sys.exit(f"line {line}: {gcode.strerror(result)}")


if __name__ == "__main__":
    main()
