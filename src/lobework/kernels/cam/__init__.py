"""Cam and follower: where they touch, laws of motion, the rocking headstock."""
