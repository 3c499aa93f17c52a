"""Scripts to start from: `python -m sample_sets.examples.make_and_shape` and its neighbours."""
