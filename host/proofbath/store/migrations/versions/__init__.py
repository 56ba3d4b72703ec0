"""One module a revision; a released one is never changed."""
