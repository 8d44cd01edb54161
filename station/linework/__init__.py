"""Where to mark, how deep to trap, in which order: shortening, marks and order of work."""
