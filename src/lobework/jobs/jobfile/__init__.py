"""Job files and lathe files: read and validated, with errors that name the file, the line and the key."""

from __future__ import annotations

from lobework.jobs.jobfile.read import (
    job_schema,
    lathe_and_units,
    lathe_schema,
    read_job,
    read_lathe,
    shipped_lathes,
    starter,
    with_file_and_line,
)

__all__ = [
    "job_schema",
    "lathe_and_units",
    "lathe_schema",
    "read_job",
    "read_lathe",
    "shipped_lathes",
    "starter",
    "with_file_and_line",
]
