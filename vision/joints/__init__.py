"""Joints, holes, fittings and open seams seen on a panel or round its ends; `read.read_joints` is the door."""
