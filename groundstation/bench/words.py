"""Sentences that several bench tests say."""

NO_MOTOR = "Bench: no motor in the mount, no charge fitted anywhere."
PYRO_OFF = (
    "Pyro supply off where the vehicle allows it; a dummy (a resistor in place of the bridge wire) on each channel, "
    "never an igniter."
)
LOCAL_RULES = "Local codes and licensed practice decide about motors and igniters; this is no part of them."
LISTENS = "The station only listens: whatever the vehicle does, it is told by you or by its own program."
