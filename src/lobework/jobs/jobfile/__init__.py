"""Job files and lathe files: what people write, checked at the edge, with errors that name the file, line and key."""

from __future__ import annotations

from lobework.jobs.jobfile.read import (
    job_schema,
    lathe_and_units,
    lathe_schema,
    placed,
    read_job,
    read_lathe,
    shipped_lathes,
    starter,
)

__all__ = [
    "job_schema",
    "lathe_and_units",
    "lathe_schema",
    "placed",
    "read_job",
    "read_lathe",
    "shipped_lathes",
    "starter",
]
