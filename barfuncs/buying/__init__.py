"""Buying and sawing for many jobs: what to take from the rack, what to buy, how to saw it, and how far from the best that is."""
