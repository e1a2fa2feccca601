"""What stands for a launch model where a computation can do without one."""

from dataclasses import dataclass

from arrowloft.plugin import LaunchCase, LaunchModel, LaunchSpeed, Note, Source

USUAL, SHARE = 70.0, 0.3
"""A launch speed that any bow may have, m/s, and its standard uncertainty as a share of it:
two thirds of bows lie between 50 and 95 m/s, nearly all between 38 and 130."""


@dataclass(frozen=True, kw_only=True)
class UnknownLaunch(LaunchModel):
    """No launch model: 70 m/s, give or take 30 percent."""

    name = "unknown"
    version = "1"
    sources = (Source("Launch speeds of bows of all kinds", standing="common practice"),)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """The same for every bow and arrow."""
        note = Note(
            "launch-unknown",
            "No launch model was given: the launch speed is taken to be that of any bow, and must "
            "be told by what was seen.",
        )
        at_rest = 0.0 * case.arrow.mass  # of the lanes' shape
        return LaunchSpeed(USUAL + at_rest, SHARE * USUAL + at_rest, notes=(note,))
