"""Files and streams: read whole and of a limited size, written whole or not at all, standard output kept for results.

Nothing here knows what a file holds.
"""
