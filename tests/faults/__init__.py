"""Faults planted into a small district: a table of them, and the files that text cannot hold."""
