"""Built-in launch-speed models: bow and arrow -> speed at the string, one model a file.

Each is one frozen dataclass that imports from `arrowloft.plugin`, numpy and scipy
only, and is reached through its entry point, as a stranger's model would be.
Most rest on one relation, with E the energy the bow gives back over its power
stroke, m the arrow's mass and M the bow's virtual mass (what of limbs, cams and
string moves on with the arrow, as if it were fixed to the nock):

    E = (m + M) v^2 / 2,   efficiency = m / (m + M),   dv/dm = -v / (2 (m + M)).
"""
