"""A job, its results, and the job files and lathe files that it is read from."""
