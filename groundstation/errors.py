"""The base of every exception this package raises on purpose."""


class GroundstationError(Exception):
    """Base of every exception of the ground station that a person can do something about."""
