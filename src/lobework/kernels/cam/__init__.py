"""Cam and follower: their contact, motion laws, and the rocking headstock."""
