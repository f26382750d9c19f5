"""Files and streams: size-limited reading, all-or-nothing writing, standard output reserved for results.

The package does not depend on the contents of the files.
"""
