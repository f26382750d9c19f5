"""The path of the tip: the trace through a stack of chucks, the straight moves that approximate it, and its feed limits."""
