"""Knobs, pulls, keyholes, hinges, screws, bare holes and panes seen on a panel; `read.read_hardware` is the door."""
