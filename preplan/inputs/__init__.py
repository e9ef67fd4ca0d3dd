"""The user's tables and district file, checked and turned into records."""
