"""What a person reads at the lathe: the settings in order, the zeros, the directions of the axes, a lathe in plain words.

Format-free; `lobework.targets` writes the files.
"""
