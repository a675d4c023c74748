"""A simulated vehicle: on the pad, in flight, over the radio, with faults on demand."""
