"""The window: draws frozen snapshots, sends commands, does no arithmetic of the trade."""
