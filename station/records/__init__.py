"""Facts that can be checked years later: entries, their chain, the archive, verification, reports."""
