"""Schema of the store, step by step."""
