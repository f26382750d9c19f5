"""What every follower promises."""

from __future__ import annotations
