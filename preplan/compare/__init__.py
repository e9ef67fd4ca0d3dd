"""Two results of one district held against each other: which addresses changed, and why. Plans nothing."""
