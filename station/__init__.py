"""The station: what is measured, worked, recorded and shown at the bench."""
