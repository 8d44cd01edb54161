"""Hardware to stamped events, and back to bytes. Knows nothing of the station."""
