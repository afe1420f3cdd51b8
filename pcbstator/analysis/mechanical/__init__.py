"""Forces and masses of this rotor."""
