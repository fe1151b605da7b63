"""What a command does at the bench, whichever face asks: port, virtual rig, turn, resume."""
