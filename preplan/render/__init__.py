"""A finished plan turned into pages, in memory."""
