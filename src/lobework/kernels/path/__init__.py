"""The path of the tip: the trace through a stack of chucks, the moves that fit it, and how fast it may be run."""
