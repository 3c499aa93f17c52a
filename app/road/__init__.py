"""Work area Road: recordings and desk manoeuvres."""
