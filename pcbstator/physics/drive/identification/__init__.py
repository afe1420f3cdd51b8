"""What records of a turning drive say of it: inertia, friction, errors of the sensor, lost motion."""
