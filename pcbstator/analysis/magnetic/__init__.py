"""The rotor's field in this copper, and its waveforms."""
