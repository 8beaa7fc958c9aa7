"""simbot: how long a competition robot's moves really take, and what a timer that is too short breaks."""

__version__ = "0.1.0"
