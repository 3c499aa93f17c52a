"""Work area Tune: shape tables."""
