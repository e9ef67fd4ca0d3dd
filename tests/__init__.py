"""Tests: a file a room, and the checks against the world."""
