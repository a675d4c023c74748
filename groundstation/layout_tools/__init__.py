"""Tools around one packet layout: check it, explain a frame by it, write it as C for the firmware, exchange it."""
