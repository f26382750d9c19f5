"""The path of the tip: its computation, also through a stack of chucks; its approximation by straight moves; its feed limits."""
