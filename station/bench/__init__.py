"""The bench without a window: events in, snapshots and entries out."""
