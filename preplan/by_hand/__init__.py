"""Questions of the command line that need no district: each takes numbers, and answers in words or as JSON."""
