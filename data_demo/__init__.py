"""The demo season of an invented organisation, and the seeded scripts that make it."""
