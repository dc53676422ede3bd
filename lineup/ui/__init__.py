"""The web pages: one script per page, a few modules they share. Pages show; the library computes."""
