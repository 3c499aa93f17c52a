"""Part Recordings of Road: what was driven, replayed through the tables of the open sets."""
