"""Jobs and their results, and the job files and lathe files from which a job is read."""
