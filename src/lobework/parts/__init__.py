"""The parts of a rose engine: cams, followers, chucks, cutters, slides, the work and their drives.

Each part is a frozen dataclass that does not depend on the other kinds of parts. The module `protocols` defines the interfaces
for parts that users write themselves. The assembly of the parts is in `lobework.lathe`.
"""
