"""Explains a plan: why a seat, which swaps come next, the depth behind it, what an injury changes, why none exists."""
