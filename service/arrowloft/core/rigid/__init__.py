"""The arrow as a rigid body: how it pitches, yaws and spins on its way, for research."""
