"""A string over frets, simulated: audio with its truth, for tests and for trying faults out."""
