"""What a panel shows besides its material: make-up of narrow sides, joints, fittings, damage. `read.read_details` is the door."""
