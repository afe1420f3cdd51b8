"""Fields of magnets and steel, flux linkage."""
