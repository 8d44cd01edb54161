"""Is the pull held? Judging holds, and knowing the scale."""
