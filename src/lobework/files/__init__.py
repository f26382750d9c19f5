"""Files and streams: reading of files of limited size, writing of all files or none, and standard output reserved for results.

The package does not depend on the contents of the files.
"""
