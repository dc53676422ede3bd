"""The optimiser: finds the best lineup of a block and proves how good it is."""
