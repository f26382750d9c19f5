"""Lines of an RS274/NGC program: written, scanned and interpreted.

The reader and the writer share nothing.
"""
