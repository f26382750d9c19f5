"""Pictures of lines on a grid of dots."""
