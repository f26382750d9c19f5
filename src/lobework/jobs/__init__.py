"""A job, everything that can be had from it, and the file that it is read from."""
