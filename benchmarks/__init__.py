"""Fast paths beside their judges, timed in one run."""
