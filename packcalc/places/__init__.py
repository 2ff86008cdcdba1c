"""The fault places of one layout: every loop with its currents and the devices in it."""
